// On a narrow screen the menu lies over the page: close it once a page or a name was chosen.
let who;

function close() {
  if (!window.matchMedia("(max-width: 768px)").matches) return;
  document.querySelector("[data-testid=stSidebarCollapseButton] button")?.click();
}

export default function ({ data }) {
  if (who !== undefined && who !== data.who) close();
  who = data.who;
  const ended = new AbortController();
  document.addEventListener(
    "click",
    (event) => {
      if (event.target instanceof Element && event.target.closest(".st-key-menu a")) close();
    },
    { signal: ended.signal },
  );
  return () => ended.abort();
}
