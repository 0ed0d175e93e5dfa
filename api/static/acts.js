// Lets forms and buttons of a page act over the API: `data-act="METHOD /path"` says what, `data-body` the fixed part.
// A field's name is its place in the body (`items.0.sample`); an empty field is left out. What was refused is told
// beside its field. `data-then="/place/{id}"` goes on to what was made.

const WHO = "tundish.who";
const WAITING = "One moment.";
const unanswered = new Map(); // the key of each request that got no answer, so that it acts once when sent again
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

function valueOf(field) {
  const text = field.value.trim();
  if (field.type === "number" || field.dataset.list === "number") return Number(text);
  if (field.type === "datetime-local") return `${text}Z`; // all times of a page are UTC
  if (field.type === "checkbox" && !("list" in field.dataset)) return true;
  return text;
}

function bodyOf(asked, form) {
  const body = JSON.parse(asked.dataset.body ?? form?.dataset.body ?? "{}");
  for (const field of form?.elements ?? []) {
    const ticked = !["checkbox", "radio"].includes(field.type) || field.checked;
    if (!field.name || !ticked || !field.value?.trim()) continue;
    put(body, field.name, valueOf(field), "list" in field.dataset);
  }
  return body;
}

// 128 bits at random. `crypto.randomUUID` would be missing on a page that came over plain HTTP from another computer.
function newKey() {
  return Array.from(crypto.getRandomValues(new Uint8Array(16)), (one) => one.toString(16).padStart(2, "0")).join("");
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

function unmark(form) {
  for (const words of form?.querySelectorAll("[data-fault]") ?? []) words.remove();
  for (const field of form?.querySelectorAll("[aria-invalid]") ?? []) {
    field.removeAttribute("aria-invalid");
    field.removeAttribute("aria-describedby");
  }
}

function fieldOf(form, name) {
  const fields = [...(form?.elements ?? [])].filter((one) => one.name && one.type !== "hidden");
  return fields.find((one) => one.name === name) ?? fields.find((one) => one.name.endsWith(`.${name}`));
}

// Tell what is wrong beside each field that is named; return what belongs to no field of the form.
function markFaults(form, faults) {
  const elsewhere = [];
  let first = null;
  faults.forEach((fault, index) => {
    const field = fieldOf(form, fault.parameter);
    if (!field) {
      elsewhere.push(fault);
      return;
    }
    const words = document.createElement("span");
    words.dataset.fault = "";
    words.className = "fault";
    words.id = `fault-${index}`;
    words.textContent = fault.detail;
    (field.closest("label") ?? field).after(words);
    field.closest("details")?.setAttribute("open", "");
    field.setAttribute("aria-invalid", "true");
    field.setAttribute("aria-describedby", words.id);
    first ??= field;
  });
  first?.focus();
  return elsewhere;
}

function inWords(problem, elsewhere) {
  const faults = elsewhere.filter((one) => one.parameter).map((one) => `${one.parameter}: ${one.detail}`);
  return [problem.detail ?? "it was refused", ...faults].join(" · ");
}

async function act(asked, form) {
  if (who && !who.value.trim()) {
    say(asked, "Say who you are first: every act carries the initials of a person.", "bad");
    who.focus();
    return;
  }
  unmark(form);
  say(asked, WAITING, "busy");
  const [method, path] = asked.dataset.act.split(" ");
  const body = JSON.stringify(bodyOf(asked, form));
  const request = `${method} ${path} ${who?.value.trim()} ${body}`;
  const key = unanswered.get(request) ?? newKey();
  unanswered.set(request, key);
  const headers = { "Content-Type": "application/json", "Idempotency-Key": key };
  if (who) headers["Tundish-Actor"] = who.value.trim();
  try {
    const answer = await fetch(path, { method, headers, body });
    const said = await answer.json();
    unanswered.delete(request);
    if (answer.ok) done(asked, form, said);
    else say(asked, inWords(said, markFaults(form, said.errors ?? [])), "bad");
  } catch {
    say(asked, "The daemon does not answer. Send it again when it does: it acts once.", "bad");
  }
}

function done(asked, form, said) {
  const then = (form ?? asked).dataset.then;
  if (then) {
    location.assign(then.replace("{id}", said.id));
    return;
  }
  const told = (form ?? asked).dataset.tell;
  say(asked, told ? `Done: ${said[told]}` : "Done.", "good");
  for (const field of form?.elements ?? []) {
    if ("keep" in field.dataset) continue;
    if (field.type === "checkbox") field.checked = false;
    else if (["text", "number", "datetime-local"].includes(field.type)) field.value = "";
  }
  if (asked.closest("[data-live]")) asked.blur(); // so that the part may be drawn anew
  document.dispatchEvent(new Event("tundish:changed"));
}

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (!form.dataset.act) return;
  event.preventDefault();
  const by = event.submitter;
  act(by?.dataset.act ? by : form, form);
});

document.addEventListener("click", (event) => {
  if (event.target.closest("button[data-print]")) window.print();
  const button = event.target.closest("button[data-act]");
  if (!button || button.form) return; // a button of a form submits it
  act(button, null);
});
