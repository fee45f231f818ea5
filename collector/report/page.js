"use strict";
(() => {
  const by = (id) => document.getElementById(id);
  const form = by("filters");
  const fields = { verdict: by("by-verdict"), rule: by("by-rule"), text: by("by-text") };
  const rows = new Map([...document.querySelectorAll("tr[data-pair]")].map((row) => [row.dataset.pair, row]));
  const pairs = [...document.querySelectorAll("details.pair")].map((pair) => ({
    pair,
    row: rows.get(pair.id),
    verdict: pair.dataset.verdict,
    rules: pair.dataset.rules.split(" "),
    findings: [...pair.querySelectorAll("details.finding")],
    text: null,
  }));

  // Reading every line of a large fleet takes a moment, so it waits until somebody searches.
  const textOf = (entry) => (entry.text ??= entry.pair.textContent.toLowerCase());

  const apply = () => {
    const verdict = fields.verdict.value;
    const rule = fields.rule.value;
    const text = fields.text.value.trim().toLowerCase();
    let shown = 0;
    for (const entry of pairs) {
      const fits =
        (!verdict || entry.verdict === verdict) &&
        (!rule || entry.rules.includes(rule)) &&
        (!text || textOf(entry).includes(text));
      entry.pair.hidden = !fits;
      entry.row.hidden = !fits;
      for (const finding of entry.findings) finding.hidden = Boolean(rule) && finding.dataset.rule !== rule;
      if (fits && rule) entry.pair.open = true;
      shown += fits ? 1 : 0;
    }
    by("shown").textContent = `${shown} of ${pairs.length} shown`;
    by("none").hidden = shown > 0;
  };

  // A link into a closed pair or finding opens it; one to a filtered one takes the filters away.
  const follow = () => {
    const target = document.getElementById(decodeURIComponent(location.hash.slice(1)));
    if (!target) return;
    if (target.closest("[hidden]")) form.reset();
    for (let box = target.closest("details"); box; box = box.parentElement.closest("details")) box.open = true;
    target.scrollIntoView();
  };

  let closed = [];
  addEventListener("beforeprint", () => {
    closed = [...document.querySelectorAll("details:not([open])")];
    for (const box of closed) box.open = true;
  });
  addEventListener("afterprint", () => {
    for (const box of closed) box.open = false;
    closed = [];
  });

  form.addEventListener("input", apply);
  form.addEventListener("submit", (event) => event.preventDefault());
  form.addEventListener("reset", () => setTimeout(apply));
  addEventListener("hashchange", follow);
  form.hidden = false;
  apply();
  follow();
})();
