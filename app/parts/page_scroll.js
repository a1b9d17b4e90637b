// What is new is brought into view: the page keeps its scroll otherwise, wherever that leads.
const shown = new Map();

export default function ({ data }) {
  const before = shown.get(data.place);
  shown.set(data.place, data.shown);
  if (before !== data.shown) {
    if (data.to) {
      const box = document.querySelector(`.st-key-${CSS.escape(data.to)}`);
      box?.scrollIntoView({ block: "center" });
    } else {
      document.querySelector("[data-testid=stMain]")?.scrollTo({ top: 0 });
    }
  }
  return () => shown.delete(data.place);
}
