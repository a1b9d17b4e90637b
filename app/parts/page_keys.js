// A digit chooses one of the page's buttons, the space bar then presses the chosen one. Two steps,
// of which neither is part of a typed number: an ear tag typed with no field in focus, or a tag
// reader that types like a keyboard, presses nothing.
const PAUSE_MS = 500; // digits closer together than this are a number, not a choice
const HAND_MS = 50; // no hand presses two keys faster than this, a reader does
const MODIFIERS = ["Shift", "CapsLock", "NumLock", "AltGraph"];
const FIELD = "input, textarea, select, [role=combobox], [contenteditable]";

export default function ({ data }) {
  const ended = new AbortController();
  let chosen = null;
  let before = -PAUSE_MS;

  document.addEventListener(
    "keydown",
    (event) => {
      if (event.repeat || event.ctrlKey || event.metaKey || event.altKey) return;
      if (MODIFIERS.includes(event.key)) return;
      const since = event.timeStamp - before;
      before = event.timeStamp;
      if (event.target instanceof Element && event.target.closest(FIELD)) return;
      const was = chosen === document.activeElement ? chosen : null;
      chosen = null;
      if (was) {
        // Enter ends a typed number too, so it presses no button that a digit chose.
        if (event.key === "Enter" || event.key === " ") event.preventDefault();
        was.blur();
        if (event.key === " " && since > HAND_MS) was.click();
      }
      const wanted = since > PAUSE_MS && data.presses[event.key];
      const button = wanted && document.querySelector(`.st-key-${CSS.escape(wanted)} button`);
      if (!button || button.disabled) return;
      chosen = button;
      button.focus();
    },
    { capture: true, signal: ended.signal },
  );
  return () => ended.abort();
}
