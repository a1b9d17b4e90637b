// On a narrow screen the menu lies over the page: close it once a page was chosen.
export default function () {
  const ended = new AbortController();
  document.addEventListener(
    "click",
    (event) => {
      if (!window.matchMedia("(max-width: 768px)").matches) return;
      if (!(event.target instanceof Element) || !event.target.closest(".st-key-menu a")) return;
      document.querySelector("[data-testid=stSidebarCollapseButton] button")?.click();
    },
    { signal: ended.signal },
  );
  return () => ended.abort();
}
