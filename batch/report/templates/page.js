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
