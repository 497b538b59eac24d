// Elements, made and found. Whatever comes from a build is put in as text, never as markup.

export const by = (id) => document.getElementById(id);

export function make(tag, words = {}, ...inside) {
  const e = document.createElement(tag);
  for (const [name, value] of Object.entries(words))
    if (name.startsWith("on")) e[name] = value;
    else if (name === "class") e.className = value;
    else if (name.startsWith("aria-") && value !== null && value !== undefined) e.setAttribute(name, String(value));
    else if (value === true) e.setAttribute(name, "");
    else if (value !== false && value !== null && value !== undefined) e.setAttribute(name, String(value));
  e.append(...inside.flat().filter((x) => x !== null && x !== undefined && x !== false && x !== ""));
  return e;
}

export const button = (words, ...inside) => make("button", { type: "button", ...words }, ...inside);

// Puts `fresh` in place of what an element holds, and the focus where it was, by [data-key].
export function refill(e, ...fresh) {
  const key = e.contains(document.activeElement) ? document.activeElement.dataset.key : undefined;
  e.replaceChildren(...fresh.flat().filter(Boolean));
  if (key !== undefined) [...e.querySelectorAll("[data-key]")].find((x) => x.dataset.key === key)?.focus({ preventScroll: true });
}
