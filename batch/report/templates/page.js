{
addEventListener("beforeprint", () => document.querySelectorAll("details.needs, .needs details.more").forEach(d => { d.open = true; }));
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
const day = document.getElementById("day");
if (day) {
  const takes = [...day.querySelectorAll(".take")], bar = document.createElement("p"), chosen = {};
  bar.className = "filters"; bar.setAttribute("role", "group"); bar.setAttribute("aria-label", "Show only");
  const shown = document.createElement("span"); shown.setAttribute("role", "status"); shown.className = "soft";
  const filter = () => {
    let count = 0;
    takes.forEach(take => {
      const fits = Object.entries(chosen).every(([key, value]) => !value || (value === true ? key in take.dataset : take.dataset[key] === value));
      take.hidden = !fits; count += fits;
    });
    day.querySelectorAll(".scene").forEach(scene => { scene.hidden = !scene.querySelector(".take:not([hidden])"); });
    shown.textContent = count < takes.length ? count + " of " + takes.length + " clips" : "";
  };
  for (const key of ["scene", "camera", "verdict"]) {
    const values = [...new Set(takes.map(take => take.dataset[key]).filter(Boolean))];
    if (values.length < 2) continue;
    const label = document.createElement("label"), select = document.createElement("select");
    select.append(new Option("all", ""), ...values.sort((a, b) => a.localeCompare(b, undefined, { numeric: true })).map(v => new Option(v, v)));
    select.addEventListener("change", () => { chosen[key] = select.value; filter(); });
    label.append(key, select); bar.append(label);
  }
  for (const [key, says] of [["circled", "circled takes"], ["lost", "not delivered"]]) {
    const count = takes.filter(take => key in take.dataset).length;
    if (!count || count === takes.length) continue;
    const label = document.createElement("label"), box = document.createElement("input");
    box.type = "checkbox"; box.addEventListener("change", () => { chosen[key] = box.checked; filter(); });
    label.append(box, says); bar.append(label);
  }
  if (bar.childElementCount) { bar.append(shown); day.querySelector("h2").after(bar); }
}
for (const pair of document.querySelectorAll("[data-compare]")) {
  const slide = document.createElement("input");
  Object.assign(slide, { type: "range", min: 0, max: 100, value: 50 }); slide.setAttribute("aria-label", "From the still before to the one now");
  slide.addEventListener("input", () => pair.style.setProperty("--at", slide.value + "%"));
  pair.classList.add("over"); pair.querySelector("figcaption").before(slide);
}
const player = event => {
  const play = event.target.closest("a.play");
  if (!play || event.ctrlKey || event.metaKey || event.shiftKey) return;
  const movie = document.createElement("video"), still = play.querySelector("img");
  if (!movie.canPlayType("video/mp4")) return;
  event.preventDefault();
  Object.assign(movie, { controls: true, autoplay: true, playsInline: true, src: play.href });
  if (still) movie.poster = still.src;
  movie.addEventListener("error", () => { location.assign(play.href); });
  play.closest("article").querySelector(".frame").replaceChildren(movie);
  movie.focus();
};
day?.addEventListener("click", player);
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
  ready.addEventListener("click", player);
}
}
