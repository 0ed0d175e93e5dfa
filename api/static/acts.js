// Lets forms and buttons of a page act over the API: `data-act="METHOD /path"` says what, `data-body` the fixed part.
// A field's name is its place in the body (`items.0.sample`); an empty field is left out.

const WHO = "tundish.who";
const WAITING = "One moment.";
const who = document.querySelector("[data-who]");

if (who) {
  who.value = localStorage.getItem(WHO) ?? "";
  who.addEventListener("change", () => localStorage.setItem(WHO, who.value.trim()));
}

function put(body, place, value, isList) {
  const steps = place.split(".");
  let at = body;
  steps.forEach((step, index) => {
    const last = index === steps.length - 1;
    const key = /^\d+$/.test(step) ? Number(step) : step;
    if (last && isList) (at[key] ??= []).push(value);
    else if (last) at[key] = value;
    else at = at[key] ??= /^\d+$/.test(steps[index + 1]) ? [] : {};
  });
}

function bodyOf(asked, form) {
  const body = JSON.parse(asked.dataset.body ?? form?.dataset.body ?? "{}");
  for (const field of form?.elements ?? []) {
    const ticked = field.type !== "checkbox" || field.checked;
    const text = field.value?.trim();
    if (!field.name || !ticked || !text) continue;
    const isNumber = field.type === "number" || field.dataset.list === "number";
    put(body, field.name, isNumber ? Number(text) : text, "list" in field.dataset);
  }
  return body;
}

function say(near, words, kind) {
  const place = near.closest("section, form") ?? document.body;
  let answer = place.querySelector(":scope > [data-answer]");
  if (!answer) {
    answer = document.createElement("p");
    answer.dataset.answer = "";
    answer.setAttribute("role", kind === "bad" ? "alert" : "status");
    place.prepend(answer);
  }
  answer.className = `answer ${kind}`;
  answer.textContent = words;
}

function inWords(problem) {
  const faults = (problem.errors ?? []).map((one) => `${one.parameter}: ${one.detail}`);
  return [problem.detail ?? "it was refused", ...faults].join(" · ");
}

async function act(asked, form) {
  if (who && !who.value.trim()) {
    say(asked, "Say who you are first: every act carries the initials of a person.", "bad");
    who.focus();
    return;
  }
  say(asked, WAITING, "busy");
  const [method, path] = asked.dataset.act.split(" ");
  const headers = { "Content-Type": "application/json", "Idempotency-Key": crypto.randomUUID() };
  if (who) headers["Tundish-Actor"] = who.value.trim();
  try {
    const answer = await fetch(path, { method, headers, body: JSON.stringify(bodyOf(asked, form)) });
    const said = await answer.json();
    if (!answer.ok) {
      say(asked, inWords(said), "bad");
      return;
    }
    const told = (form ?? asked).dataset.tell;
    say(asked, told ? `Done: ${said[told]}` : "Done.", "good");
    for (const field of form?.elements ?? []) {
      if (field.type === "checkbox" && !("keep" in field.dataset)) field.checked = false;
      else if (["text", "number"].includes(field.type) && !("keep" in field.dataset)) field.value = "";
    }
    if (asked.closest("[data-live]")) asked.blur(); // so that the part may be drawn anew
    document.dispatchEvent(new Event("tundish:changed"));
  } catch {
    say(asked, "The daemon does not answer; nothing was done.", "bad");
  }
}

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (!form.dataset.act) return;
  event.preventDefault();
  const by = event.submitter;
  act(by?.dataset.act ? by : form, form);
});

document.addEventListener("click", (event) => {
  const button = event.target.closest("button[data-act]");
  if (!button || button.form) return; // a button of a form submits it
  act(button, null);
});
