// Questions to the program, which runs on this computer. An answer that cannot be had says why.

export class Unanswered extends Error {}

const GONE =
  "The program does not answer: it was stopped, or is busy. Go on typing; the verdict comes by itself when it is back.";

// Ask for a piece of the page with the fields of a form.
export async function ask(path, body, signal) {
  let answer;
  try {
    answer = await fetch(path, { method: "POST", body, signal, headers: { "X-Piece": "yes" }, credentials: "same-origin" });
  } catch (error) {
    if (error.name === "AbortError") throw error;
    throw new Unanswered(GONE);
  }
  if (answer.status === 403 || answer.status === 421) throw new Unanswered(await answer.text());
  if (answer.status === 503) throw new Unanswered(GONE); // it was being stopped
  if (answer.status >= 500) throw new Unanswered("The program hit an internal error. Save your formula; its window has the details.");
  return answer;
}

// The fields of the formula as a body to post.
export function postDraft(path, pairs, signal) {
  return ask(path, new URLSearchParams(pairs), signal);
}

const banner = document.getElementById("banner");
let waiting = 0;

// Say that the program is away, and try again until it is back.
export function away(message, back) {
  if (banner.textContent !== message) banner.textContent = message;
  banner.hidden = false;
  clearTimeout(waiting);
  waiting = setTimeout(async () => {
    try {
      await ask("/there", "");
      here();
      back();
    } catch (error) {
      away(error instanceof Unanswered ? error.message : GONE, back);
    }
  }, 1000);
}

export function here() {
  clearTimeout(waiting);
  banner.hidden = true;
  banner.textContent = "";
}
