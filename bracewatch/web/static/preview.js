// Shows a wording as it is typed. Without script the button "Preview" shows the same.
const form = document.getElementById("wording-form");
const preview = document.getElementById("preview");
let waiting;
let asking = new AbortController();

async function show() {
  asking.abort();
  asking = new AbortController();
  try {
    const answer = await fetch(form.dataset.preview, { method: "POST", body: new FormData(form), signal: asking.signal });
    if (answer.ok) preview.innerHTML = await answer.text();
  } catch (error) {
    if (error.name !== "AbortError") throw error;
  }
}

form.elements.wording.addEventListener("input", () => {
  clearTimeout(waiting);
  waiting = setTimeout(show, 400);
});
