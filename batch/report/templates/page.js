addEventListener("beforeprint", () => document.querySelectorAll("details").forEach(d => { d.open = true; }));
const opened = () => { const d = document.getElementById(decodeURIComponent(location.hash.slice(1))); if (d instanceof HTMLDetailsElement) d.open = true; };
addEventListener("hashchange", opened); opened();
for (const table of document.querySelectorAll("table.sortable")) {
  const body = table.tBodies[0];
  table.querySelectorAll("thead th").forEach((head, column) => {
    const button = document.createElement("button");
    button.type = "button"; button.className = "sort"; button.textContent = head.textContent;
    head.replaceChildren(button);
    button.addEventListener("click", () => {
      const down = head.getAttribute("aria-sort") === "ascending";
      table.querySelectorAll("th").forEach(h => h.removeAttribute("aria-sort"));
      head.setAttribute("aria-sort", down ? "descending" : "ascending");
      const text = row => row.cells[column].textContent;
      const rows = [...body.rows].sort((a, b) => text(a).localeCompare(text(b), undefined, { numeric: true }));
      body.append(...(down ? rows.reverse() : rows));
    });
  });
}
const night = document.querySelector("[data-live]");
if (night) {
  const top = document.getElementById("top"), ready = document.getElementById("ready"), link = document.getElementById("link");
  const source = new EventSource("events?since=" + encodeURIComponent(night.dataset.live));
  source.addEventListener("open", () => { link.textContent = ""; });
  source.addEventListener("error", () => { if (!link.textContent) link.textContent = "No connection since " + new Date().toLocaleTimeString() + ". It is tried again; what stands here may be old."; });
  source.addEventListener("now", event => {
    const open = [...top.querySelectorAll("details[open]")].map(d => d.id);
    top.innerHTML = JSON.parse(event.data).top;
    open.forEach(id => { const d = document.getElementById(id); if (d) d.open = true; });
  });
  source.addEventListener("clip", event => {
    const told = JSON.parse(event.data), old = document.getElementById(told.key), made = document.createElement("template");
    if (old && old.querySelector("video")) return;
    made.innerHTML = told.html;
    document.getElementById("none")?.remove();
    if (old) old.replaceWith(made.content.firstElementChild); else ready.prepend(made.content.firstElementChild);
  });
  source.addEventListener("gone", event => { document.getElementById(JSON.parse(event.data).key)?.remove(); });
  source.addEventListener("again", () => { source.close(); location.reload(); });
  ready.addEventListener("click", event => {
    const play = event.target.closest("a.play");
    if (!play || event.ctrlKey || event.metaKey || event.shiftKey) return;
    const movie = document.createElement("video");
    if (!movie.canPlayType("video/mp4")) return;
    event.preventDefault();
    Object.assign(movie, { controls: true, autoplay: true, playsInline: true, src: play.href });
    movie.addEventListener("error", () => { location.assign(play.href); });
    play.closest("article").querySelector(".frame").replaceChildren(movie);
    movie.focus();
  });
}
