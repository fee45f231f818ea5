"use strict";
(() => {
  const by = (id) => document.getElementById(id);

  // How old the answers are, by the reader's clock: a board that nobody renews must not pass for a new one.
  const HOUR = 3600e3;
  const span = (milliseconds) => {
    const hours = milliseconds / HOUR;
    const [number, noun] =
      hours < 1 ? [Math.round(hours * 60), "minute"] : hours < 48 ? [Math.round(hours), "hour"] : [Math.floor(hours / 24), "day"];
    return `${number} ${noun}${number === 1 ? "" : "s"}`;
  };
  const tellAge = () => {
    const line = by("age");
    if (!line.dataset.heard) return;
    const age = Date.now() - Date.parse(line.dataset.heard);
    const stale = age > line.dataset.freshHours * HOUR;
    const told =
      age < -HOUR
        ? "By this machine's clock that is still to come: one of the clocks is wrong."
        : stale
          ? `Out of date: that was ${span(age)} ago. Don't lean on it; see whether the sweep and the board still run.`
          : `That was ${span(Math.max(age, 0))} ago.`;
    by("since").textContent = told;
    document.documentElement.classList.toggle("is-stale", stale || age < -HOUR);
  };
  tellAge();
  setInterval(tellAge, 60e3);

  const table = by("pairs");
  if (!table) return;
  const form = by("filters");
  const body = table.tBodies[0];
  const fields = { verdict: by("by-verdict"), site: by("by-site"), text: by("by-text"), changed: by("by-changed") };
  const headings = [...table.tHead.querySelectorAll("[data-sort]")];
  const names = headings.map((heading) => heading.dataset.sort);
  const order = new Intl.Collator("en", { numeric: true });
  const rows = [...body.rows].map((row, place) => ({
    row,
    place,
    verdict: row.dataset.verdict,
    site: row.cells[1].textContent,
    changed: Number(row.cells[6].dataset.k) > 0,
    keys: [...row.cells].map((cell) => cell.dataset.k ?? cell.textContent),
    text: null,
  }));
  const textOf = (entry) => (entry.text ??= `${entry.row.textContent} ${entry.row.dataset.also ?? ""}`.toLowerCase());

  const seen = new Map();
  for (const entry of rows) seen.set(entry.site, (seen.get(entry.site) ?? 0) + 1);
  for (const [site, number] of [...seen].sort(([a], [b]) => order.compare(a, b))) {
    fields.site.add(new Option(`${site} (${number})`, site));
  }

  // What is chosen stands in the address behind the #, so that it can be bookmarked, sent, and gone back to.
  const inAddress = () => {
    const given = new URLSearchParams(location.hash.slice(1));
    return {
      verdict: given.get("verdict") ?? "",
      site: given.get("site") ?? "",
      text: given.get("text") ?? "",
      changed: given.get("changed") === "yes",
      sort: names.includes(given.get("sort")) ? given.get("sort") : "site",
      down: given.get("down") === "yes",
    };
  };
  // A link to a part of the page, such as the skip link, is no choice: what is shown stays as it is.
  const isChoice = () => location.hash === "" || location.hash.includes("=");
  let state = inAddress();
  const written = () => {
    const parts = new URLSearchParams();
    for (const key of ["verdict", "site", "text"]) if (state[key]) parts.set(key, state[key]);
    if (state.changed) parts.set("changed", "yes");
    if (state.sort !== "site") parts.set("sort", state.sort);
    if (state.down) parts.set("down", "yes");
    return parts.toString();
  };

  let sorted = "";
  const sort = () => {
    if (`${state.sort} ${state.down}` === sorted) return;
    sorted = `${state.sort} ${state.down}`;
    const column = names.indexOf(state.sort);
    const number = headings[column].dataset.sort !== "pair" && rows.some((entry) => entry.row.cells[column].dataset.k !== undefined);
    const compare = (a, b) => {
      const [x, y] = [a.keys[column], b.keys[column]];
      // The board's own order is by site, and what has no figure comes last, whichever way round.
      if (state.sort === "site") return (state.down ? order.compare(y, x) : 0) || a.place - b.place;
      if (number && (x === "") !== (y === "")) return x === "" ? 1 : -1;
      const found = number ? x - y : order.compare(x, y);
      return (state.down ? -found : found) || a.place - b.place;
    };
    body.append(...[...rows].sort(compare).map((entry) => entry.row));
    for (const heading of headings) {
      if (heading.dataset.sort === state.sort) heading.setAttribute("aria-sort", state.down ? "descending" : "ascending");
      else heading.removeAttribute("aria-sort");
    }
  };

  const apply = () => {
    if (fields.verdict.value !== state.verdict) fields.verdict.value = state.verdict;
    if (fields.site.value !== state.site) fields.site.value = state.site;
    if (fields.text.value !== state.text) fields.text.value = state.text;
    fields.changed.checked = state.changed;
    const text = state.text.trim().toLowerCase();
    let shown = 0;
    for (const entry of rows) {
      const fits =
        (!state.verdict || entry.verdict === state.verdict) &&
        (!state.site || entry.site === state.site) &&
        (!state.changed || entry.changed) &&
        (!text || textOf(entry).includes(text));
      entry.row.hidden = !fits;
      shown += fits ? 1 : 0;
    }
    sort();
    by("shown").textContent = `${shown} of ${rows.length} shown`;
    by("none").hidden = shown > 0;
  };
  const choose = (change, replace) => {
    state = { ...state, ...change };
    history[replace ? "replaceState" : "pushState"](null, "", `#${written()}`);
    apply();
  };

  for (const key of ["verdict", "site"]) fields[key].addEventListener("change", () => choose({ [key]: fields[key].value }));
  fields.changed.addEventListener("change", () => choose({ changed: fields.changed.checked }));
  // Every letter in the history would make the way back long.
  fields.text.addEventListener("input", () => choose({ text: fields.text.value }, true));
  form.addEventListener("submit", (event) => event.preventDefault());
  form.addEventListener("reset", (event) => {
    event.preventDefault();
    choose({ verdict: "", site: "", text: "", changed: false });
  });
  for (const heading of headings) {
    const button = document.createElement("button");
    button.type = "button";
    button.append(...heading.childNodes);
    heading.append(button);
    button.addEventListener("click", () => {
      choose({ sort: heading.dataset.sort, down: state.sort === heading.dataset.sort && !state.down });
    });
  }
  const goBack = () => {
    if (!isChoice()) return;
    state = inAddress();
    apply();
  };
  addEventListener("hashchange", goBack);
  addEventListener("popstate", goBack);
  for (const link of document.querySelectorAll('a[href^="#site="]')) {
    link.addEventListener("click", () => by("fleet").focus());
  }
  form.hidden = false;
  apply();
})();
