// A key pressed anywhere but in a field presses a button of the page.
export default function ({ data }) {
  const ended = new AbortController();
  const busy = "input, textarea, select, button, a, summary, [role=combobox], [contenteditable]";
  document.addEventListener(
    "keydown",
    (event) => {
      const wanted = data.presses[event.key];
      if (!wanted || event.ctrlKey || event.metaKey || event.altKey || event.repeat) return;
      if (event.target instanceof Element && event.target.closest(busy)) return;
      const pressed = document.querySelector(`.st-key-${CSS.escape(wanted)} button`);
      if (!pressed || pressed.disabled) return;
      event.preventDefault();
      pressed.click();
    },
    { signal: ended.signal },
  );
  return () => ended.abort();
}
