/* Boxes that are ticked stay ticked, in this browser, for this sheet. */
(() => {
  const main = document.querySelector("main"), key = `mix sheet ${main.dataset.key}`;
  let done = {}, kept = true;
  try {
    done = JSON.parse(localStorage.getItem(key) || "{}") || {};
    localStorage.setItem(key, JSON.stringify(done));
  } catch {
    kept = false;
  }
  document.getElementById("not-kept").hidden = kept;
  for (const box of main.querySelectorAll("input[type=checkbox]")) {
    box.checked = done[box.id] === true;
    box.addEventListener("change", () => {
      done[box.id] = box.checked;
      if (kept) localStorage.setItem(key, JSON.stringify(done));
    });
  }

  /* What a link leads to is opened, and all of it for paper. */
  const show = (id) => {
    const part = id && document.getElementById(id);
    if (part && part.tagName === "DETAILS") part.open = true;
  };
  for (const link of main.querySelectorAll("nav a")) link.addEventListener("click", () => show(link.hash.slice(1)));
  show(location.hash.slice(1));
  addEventListener("beforeprint", () => main.querySelectorAll("details").forEach((part) => { part.open = true; }));
})();
