// Small makers of elements. Text goes in as text, never as markup.

// Also used for drawings, whose elements are of another kind.
export function fill(node, attributes, children) {
  for (const [key, value] of Object.entries(attributes || {})) {
    if (value === null || value === undefined || value === false) continue;
    if (key.startsWith("on")) node.addEventListener(key.slice(2), value);
    else if (key === "value") node.value = value;
    else node.setAttribute(key, value === true ? "" : value);
  }
  for (const child of children.flat(Infinity)) {
    if (child === null || child === undefined || child === false || child === "") continue;
    node.append(child instanceof Node ? child : String(child));
  }
  return node;
}

export function h(tag, attributes, ...children) {
  const [name, ...classes] = tag.split(".");
  const node = document.createElement(name || "div");
  if (classes.length) node.className = classes.join(" ");
  return fill(node, attributes, children);
}

export function put(place, ...children) {
  place.replaceChildren(...children.flat(Infinity).filter((child) => child !== null && child !== undefined && child !== false));
  return place;
}

export function key(words, press, kind = "") {
  return h(`button.key${kind ? `.key--${kind}` : ""}`, { type: "button", onclick: press }, words);
}

export function state(mark, words) {
  return h(`span.state.state--${mark}`, {}, words);
}

export function say(words) {
  const place = document.getElementById("say");
  if (place) place.textContent = words;
}
