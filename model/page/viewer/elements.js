// Elements of the page, made short.

export const by = (id) => document.getElementById(id);

export function make(tag, text, cls) {
  const e = document.createElement(tag);
  if (text !== undefined) e.textContent = text;
  if (cls) e.className = cls;
  return e;
}

export function press(text, done) {
  const b = make("button", text);
  b.type = "button";
  b.onclick = done;
  return b;
}
