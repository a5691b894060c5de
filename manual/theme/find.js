// Finds words in the manual. From a disk a browser lets no page read the index: no field is shown.
"use strict";
const base = document.currentScript.dataset.base;
const form = document.querySelector("header form");
const [field, list] = [form.querySelector("input"), form.querySelector("ol")];

function found(places, words) {
  const score = ({ title, text }) => {
    const [head, body] = [title.toLowerCase(), text.toLowerCase()];
    if (!words.every((word) => head.includes(word) || body.includes(word))) return 0;
    return 1 + words.filter((word) => head.includes(word)).length;
  };
  return places
    .map((place) => [score(place), place])
    .filter(([points]) => points)
    .sort(([a], [b]) => b - a)
    .slice(0, 12)
    .map(([, place]) => place);
}

function row({ location, title, text }, word) {
  const [item, link, some] = ["li", "a", "small"].map((name) => document.createElement(name));
  const at = Math.max(0, text.toLowerCase().indexOf(word) - 40);
  link.href = `${base}/${location}`;
  link.textContent = title;
  some.textContent = `${at ? "…" : ""}${text.slice(at, at + 120)}…`;
  link.append(some);
  item.append(link);
  return item;
}

async function start() {
  const { docs } = await (await fetch(`${base}/search/search_index.json`)).json();
  form.hidden = false;
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    list.querySelector("a")?.click();
  });
  field.addEventListener("input", () => {
    const words = field.value.toLowerCase().split(/\s+/).filter((word) => word.length > 1);
    list.replaceChildren(...(words.length ? found(docs, words).map((one) => row(one, words[0])) : []));
  });
}

start().catch(() => {});
