// Keeps a page fresh: when the store has grown, the page is fetched again and its live parts are exchanged.
// The server draws everything; without this script the page is whole, only still.

const ROUND_MS = 1000; // at most one fetch a second
const RETRY_MS = 3000; // after a refused stream
const AGE_MS = 5000; // ages are counted on between fetches

const pulse = document.querySelector("[data-pulse]");
let dirty = false;
let fetching = false;

function say(text) {
  if (pulse) pulse.textContent = text;
}

function exchange(fresh) {
  for (const part of document.querySelectorAll("[data-live]")) {
    const newer = fresh.getElementById(part.id);
    // A part that a person is inside of keeps still until they have left it.
    if (newer && !part.contains(document.activeElement)) part.replaceWith(document.adoptNode(newer));
  }
}

async function refresh() {
  if (!dirty || fetching || document.hidden) return;
  dirty = false;
  fetching = true;
  try {
    const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
    if (answer.ok) exchange(new DOMParser().parseFromString(await answer.text(), "text/html"));
  } catch {
    dirty = true;
  } finally {
    fetching = false;
  }
}

function inWords(seconds) {
  if (seconds < 10) return "just now";
  if (seconds < 120) return `${Math.floor(seconds)} s ago`;
  if (seconds < 7200) return `${Math.floor(seconds / 60)} min ago`;
  if (seconds < 172800) return `${Math.floor(seconds / 3600)} h ago`;
  return `${Math.floor(seconds / 86400)} days ago`;
}

function age() {
  for (const time of document.querySelectorAll("time[data-age]")) {
    time.textContent = inWords((Date.now() - Date.parse(time.dateTime)) / 1000);
  }
}

const mark = () => {
  dirty = true;
};

document.addEventListener("tundish:changed", mark); // somebody acted on this page

let source = null;

function listen() {
  source = new EventSource("/api/v1/events");
  for (const kind of ["reading", "result", "tray", "line", "gap", "fault", "health"]) source.addEventListener(kind, mark);
  source.addEventListener("open", () => {
    say("live");
    mark(); // what happened while nobody listened
  });
  source.addEventListener("error", () => {
    say("not connected, trying again");
    // A lost stream comes back by itself; one that was refused does not.
    if (source?.readyState === EventSource.CLOSED) setTimeout(listenIfSeen, RETRY_MS);
  });
}

function listenIfSeen() {
  if (document.hidden || (source && source.readyState !== EventSource.CLOSED)) return;
  listen();
}

// A tab that nobody sees holds no stream: a browser opens only six connections to one place.
function rest() {
  source?.close();
  source = null;
  say("resting");
}

document.addEventListener("visibilitychange", () => {
  if (document.hidden) rest();
  else listenIfSeen();
});
setInterval(refresh, ROUND_MS);
setInterval(age, AGE_MS);
// A line can change its state without a word in the ledger.
setInterval(mark, 10 * ROUND_MS);
listenIfSeen();
