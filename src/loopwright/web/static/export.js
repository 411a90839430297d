// While a file is being made, the page asks how far it is.
import { patch } from "./base.js";

const EVERY = 1000; // ms

async function look() {
  try {
    const answer = await fetch(location.pathname, { headers: { Accept: "text/html" } });
    if (answer.ok && !answer.redirected) {
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("main");
      patch(document.getElementById("main"), fresh);
    }
  } catch {
    // No connection: the next look may find it.
  }
  wait();
}

function wait() {
  if (document.querySelector("[data-making]")) setTimeout(look, EVERY);
}
wait();
