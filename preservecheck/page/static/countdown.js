// Counts down to the time at which a preservative may go in. The times are forecasts, so what stands there asks for a
// reading; only the thermometer lets it in.

const MINUTE = 60_000;
// before the time, what is said aloud [min]
const ALOUD = [10, 5, 2, 1];

const two = (n) => String(n).padStart(2, "0");

export function clock(date) {
  return `${two(date.getHours())}:${two(date.getMinutes())}`;
}

export function day(date) {
  return `${date.getFullYear()}-${two(date.getMonth() + 1)}-${two(date.getDate())}`;
}

// The day on which a time of day was: today, or yesterday where today it is still to come.
export function dayOf(time, now = new Date()) {
  const [hours, minutes] = time.split(":").map(Number);
  const at = new Date(now);
  at.setHours(hours, minutes, 0, 0);
  if (at - now > 60 * MINUTE) at.setDate(at.getDate() - 1);
  return day(at);
}

// A day and a time of day on this computer's own clock.
export function instant(date, time) {
  const [y, m, d] = date.split("-").map(Number);
  const [hours, minutes, seconds = 0] = time.split(":").map(Number);
  const at = new Date(y, m - 1, d, hours, minutes, seconds);
  return Number.isNaN(at.getTime()) ? null : at;
}

function left(ms) {
  const seconds = Math.max(0, Math.round(ms / 1000));
  const hours = Math.floor(seconds / 3600);
  const minutes = Math.floor((seconds % 3600) / 60);
  return hours ? `${hours} h ${two(minutes)} min` : `${minutes}:${two(seconds % 60)} min`;
}

// What stands under a preservative, and what is to be said aloud.
export function told(ms, low, high, name, below) {
  if (ms < -12 * 60 * MINUTE) return { text: "These readings are of another batch: remove them to start anew.", now: false, stage: "old", aloud: "" };
  if (high !== null && high <= 0) {
    const text = "The latest time is past: read the thermometer.";
    return { text, now: true, stage: "late", aloud: `${name}: ${text} It may go in at ${below} or less.` };
  }
  if (ms <= 0) {
    const text = "Read the thermometer now.";
    return { text, now: true, stage: "now", aloud: `${name}: the time is here. Read the thermometer now; it may go in at ${below} or less.` };
  }
  const ahead = ALOUD.filter((m) => ms <= m * MINUTE).at(-1);
  const aloud = ahead ? `${name}: about ${ahead} ${ahead === 1 ? "minute" : "minutes"} to go.` : "";
  const early = low <= 0 ? " It may be cool enough: read the thermometer." : "";
  return { text: early ? `${left(ms)} to go.${early}` : `${left(ms)} to go`, now: low <= 0, stage: ahead ? `in ${ahead}` : "", aloud };
}

let timer = 0;
const said = new Map();

// Show and go on counting; speak only where a stage is reached.
export function count(places, last, speak) {
  clearInterval(timer);
  if (!last || !places.length) return;
  let first = true;
  const step = () => {
    const now = Date.now();
    const words = [];
    for (const place of places) {
      const until = (minutes) => last.getTime() + Number(minutes) * MINUTE - now;
      const high = place.dataset.high === undefined ? null : until(place.dataset.high);
      const { text, now: here, stage, aloud } = told(until(place.dataset.best), until(place.dataset.low), high, place.dataset.name, place.dataset.below);
      if (place.textContent !== text) place.textContent = text;
      place.classList.toggle("now", here);
      const key = place.dataset.name;
      // what holds already when the page comes is seen, not announced
      if (stage !== said.get(key)) {
        said.set(key, stage);
        if (!first && aloud) words.push(aloud);
      }
    }
    first = false;
    if (words.length) speak(words.join(" "));
  };
  step();
  timer = setInterval(step, 1000);
}
