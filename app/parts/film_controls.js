// Buttons for the video element that stands in the same container: speed, single frames, pause.

const begun = new WeakMap(); // which film each video element was set going with, once

export default function ({ parentElement, data }) {
  const place = parentElement.querySelector(".place");
  const host = parentElement.host ?? parentElement;
  const words = data.words;
  const ended = new AbortController();
  let wanted = data.speed;

  const video = () => host.closest('[class*="st-key-film_"]')?.querySelector("video");
  const button = (label, text, act) => {
    const made = document.createElement("button");
    made.type = "button";
    made.textContent = text;
    made.setAttribute("aria-label", label);
    made.title = label;
    made.addEventListener("click", act, { signal: ended.signal });
    return made;
  };
  const keepSpeed = () => {
    const film = video();
    if (film && film.playbackRate !== wanted) film.playbackRate = wanted;
  };
  // Streamlit lets a film start by itself only the first time it is drawn, even where that
  // drawing never reached the page.
  const begin = () => {
    const film = video();
    if (!film || begun.get(film) === film.src) return;
    begun.set(film, film.src);
    film.play().catch(() => {}); // forbidden by this browser: the button says Play then
  };
  const step = (way) => () => {
    const film = video();
    if (!film) return;
    film.pause();
    const length = Number.isFinite(film.duration) ? film.duration : Infinity;
    film.currentTime = Math.min(Math.max(film.currentTime + way / data.fps, 0), length);
    show();
  };
  const speeds = data.speeds.map((speed) =>
    button(`${words.speed} ${speed}`, { 0.25: "¼×", 0.5: "½×" }[speed] ?? `${speed}×`, () => {
      wanted = speed;
      keepSpeed();
      video()?.play();
      show();
    }),
  );
  const pause = button(words.pause, "❚❚", () => {
    const film = video();
    if (film) film.paused ? film.play() : film.pause();
    show();
  });
  const show = () => {
    const paused = video()?.paused ?? true;
    pause.textContent = paused ? "▶" : "❚❚";
    pause.setAttribute("aria-label", paused ? words.play : words.pause);
    speeds.forEach((b, i) => b.setAttribute("aria-pressed", String(data.speeds[i] === wanted)));
  };
  const bar = document.createElement("div");
  bar.className = "bar";
  bar.setAttribute("role", "group");
  bar.append(
    button(words.back, "◀❙", step(-1)),
    pause,
    button(words.forward, "❙▶", step(1)),
    ...speeds,
  );
  place.replaceChildren(bar);

  // The page may put a new video element in place at any time; look after whichever is there.
  const lookAfter = () => { keepSpeed(); begin(); show(); };
  const watch = setInterval(lookAfter, 400);
  lookAfter();
  return () => { clearInterval(watch); ended.abort(); };
}
