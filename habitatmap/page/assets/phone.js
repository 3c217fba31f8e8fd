// The round of one person on a telephone: what is typed is kept on it, entry by entry, until it is saved as a csv file.
const data = JSON.parse(document.getElementById("round").textContent);
const words = data.words, outcomes = data.outcomes, actions = data.actions;
const byId = (id) => document.getElementById(id);
const say = (key, values) => words[key].replace(/\{(\w+)\}/g, (all, name) => (values && name in values ? values[name] : all));
const pools = new Map(data.pools.map((pool) => [pool.id, pool]));
const entries = new Map(); // id -> entry
let open = null; // the entry on the screen

// --- keeping ----------------------------------------------------------------------------------------------------------
// IndexedDB is written to the disk before it says so; localStorage is a second copy, and what is left where the first is
// refused. Each entry is kept by itself, so that two windows with the same page do not undo each other.
const PREFIX = "round " + data.key + " ";
let base = null, shelf = null, channel = null;

function attempt(work, otherwise) {
  try { return work(); } catch (refused) { return otherwise; }
}

function openBase() {
  return new Promise((done) => {
    const late = setTimeout(() => done(null), 4000);
    const answer = (value) => { clearTimeout(late); done(value); };
    attempt(() => {
      const asked = indexedDB.open("rounds", 1);
      asked.onupgradeneeded = () => asked.result.createObjectStore("entries", { keyPath: ["page", "id"] });
      asked.onsuccess = () => answer(asked.result);
      asked.onerror = asked.onblocked = () => answer(null);
      return true;
    }, false) || answer(null);
  });
}

function openShelf() {
  return attempt(() => {
    localStorage.setItem("round", "1");
    localStorage.removeItem("round");
    return localStorage;
  }, null);
}

function fromBase() {
  return new Promise((done) => {
    if (!base) { done([]); return; }
    const asked = attempt(() => base.transaction("entries").objectStore("entries").getAll(), null);
    if (!asked) { done([]); return; }
    asked.onsuccess = () => done(asked.result.filter((one) => one.page === data.key));
    asked.onerror = () => done([]);
  });
}

function fromShelf() {
  if (!shelf) return [];
  return attempt(() => {
    const found = [];
    for (let at = 0; at < shelf.length; at += 1) {
      const name = shelf.key(at);
      if (name.startsWith(PREFIX)) found.push(attempt(() => JSON.parse(shelf.getItem(name)), null));
    }
    return found;
  }, []);
}

// where a browser keeps nothing at all, the address of the page holds the entries
function fromAddress() {
  return attempt(() => {
    const kept = JSON.parse(decodeURIComponent(location.hash.slice(1)));
    return kept.key === data.key ? kept.entries : [];
  }, []);
}

function isEntry(one) {
  return Boolean(one) && typeof one.id === "string" && typeof one.n === "number" && typeof one.pool === "string";
}

// a page that was sent anew may lack a pool of which a visit is kept
function poolOf(id) {
  const unknown = { id, order: "", way: "", what: "", when: "", day: "", caution: "", consent: "", about: "", lat: "", lon: "" };
  return pools.get(id) || unknown;
}

async function load() {
  for (const one of [...(await fromBase()), ...fromShelf(), ...fromAddress()].filter(isEntry)) {
    const mine = entries.get(one.id);
    if (!mine) entries.set(one.id, one);
    else if (one.n > mine.n) Object.assign(mine, one);
  }
}

function toBase(entry) {
  return new Promise((done) => {
    if (!base) { done(false); return; }
    const kept = attempt(() => {
      const transaction = base.transaction("entries", "readwrite", { durability: "strict" });
      transaction.objectStore("entries").put(entry);
      transaction.oncomplete = () => done(true);
      transaction.onerror = transaction.onabort = () => done(false);
      return true;
    }, false);
    if (!kept) done(false);
  });
}

let waiting = Promise.resolve(), pending = 0;

function keep(entry, changed = true) {
  // another window may have kept a later one
  const other = shelf && attempt(() => JSON.parse(shelf.getItem(PREFIX + entry.id)), null);
  entry.n = Math.max(entry.n, other && typeof other.n === "number" ? other.n : 0) + 1;
  if (changed) entry.changed = new Date().toISOString();
  const copy = JSON.parse(JSON.stringify(entry));
  const shelved = Boolean(shelf) && attempt(() => { shelf.setItem(PREFIX + entry.id, JSON.stringify(copy)); return true; }, false);
  // nothing is said to be kept before the last change is
  byId("told").textContent = "";
  pending += 1;
  waiting = waiting.then(() => toBase(copy)).then((based) => {
    pending -= 1;
    const kept = based || shelved;
    if (!kept) {
      const all = JSON.stringify({ key: data.key, entries: [...entries.values()] });
      attempt(() => { history.replaceState(null, "", "#" + encodeURIComponent(all)); }, null);
    }
    byId("refused").hidden = kept;
    if (!pending || !kept) tell(kept ? "kept" : "not_kept");
    if (channel) attempt(() => channel.postMessage(entry.id), null);
  });
  return waiting;
}

// what was saved in a file long ago, of whichever round, need not stay on the telephone
const KEPT_DAYS = 90;

function isOld(one) {
  return Boolean(one) && one.saved === one.n && Date.now() - Date.parse(one.made) > KEPT_DAYS * 86400000;
}

function tidy() {
  attempt(() => {
    const names = [];
    for (let at = 0; at < shelf.length; at += 1) names.push(shelf.key(at));
    for (const name of names.filter((name) => name.startsWith("round "))) {
      if (isOld(attempt(() => JSON.parse(shelf.getItem(name)), null))) shelf.removeItem(name);
    }
  }, null);
  attempt(() => {
    const asked = base.transaction("entries", "readwrite").objectStore("entries").openCursor();
    asked.onsuccess = () => {
      const at = asked.result;
      if (!at) return;
      if (isOld(at.value)) at.delete();
      at.continue();
    };
  }, null);
}

async function refresh() {
  await load();
  if (open && !byId("visit").contains(document.activeElement)) showVisit(open);
  if (!open) showList();
}

// --- what is on the screen --------------------------------------------------------------------------------------------
function tell(key, values) {
  byId("told").textContent = say(key, values);
}

function element(tag, text, kind) {
  const made = document.createElement(tag);
  if (text !== undefined) made.textContent = text;
  if (kind) made.className = kind;
  return made;
}

function today() {
  const now = new Date();
  return [now.getFullYear(), String(now.getMonth() + 1).padStart(2, "0"), String(now.getDate()).padStart(2, "0")].join("-");
}

function dayTold(day) {
  const [year, month, date] = day.split("-").map(Number);
  const when = new Date(year, month - 1, date);
  const how = { weekday: "short", day: "numeric", month: "short" };
  return Number.isNaN(when.getTime()) ? day : attempt(() => new Intl.DateTimeFormat(data.lang, how).format(when), day);
}

function entriesOf(pool) {
  const own = [...entries.values()].filter((one) => one.pool === pool && !one.gone);
  return own.sort((a, b) => (a.date + a.made).localeCompare(b.date + b.made));
}

function told(entry) {
  if (!entry.outcome) return say("no_outcome", { day: dayTold(entry.date) });
  const number = entry.outcome === "larvae" && entry.larvae ? " " + entry.larvae : "";
  return dayTold(entry.date) + ": " + outcomes[entry.outcome] + number;
}

function finished() {
  return [...entries.values()].filter((one) => one.outcome && !one.gone);
}

function unsaved() {
  return finished().filter((one) => one.n !== one.saved);
}

function showList() {
  open = null;
  byId("visit").hidden = true;
  byId("list").hidden = false;
  byId("of_list").hidden = false;
  byId("of_visit").hidden = true;
  const rows = byId("pools");
  rows.replaceChildren();
  let day = "";
  const others = new Set([...entries.values()].filter((one) => !one.gone && !pools.has(one.pool)).map((one) => one.pool));
  for (const pool of [...data.pools, ...[...others].map(poolOf)]) {
    if (pool.day !== day) rows.append(element("li", pool.day, "day"));
    day = pool.day;
    const own = entriesOf(pool.id), done = own.some((one) => one.outcome);
    const row = element("li", undefined, done ? "done" : "");
    const button = element("button");
    button.type = "button";
    button.append(element("span", String(pool.order), "number"), element("span", pool.id, "name"), element("span", pool.way, "way"));
    button.append(element("span", own.length ? own.map(told).join("; ") : pool.what, "state"));
    button.addEventListener("click", () => showVisit(own.at(-1) || fresh(pool.id)));
    row.append(button);
    rows.append(row);
  }
  const visited = data.pools.filter((pool) => entriesOf(pool.id).some((one) => one.outcome)).length;
  byId("progress").textContent = say("progress", { n: visited, all: data.pools.length });
  const left = unsaved().length;
  byId("save").textContent = left ? say("save_n", { n: left }) : say("save");
}

function fresh(pool) {
  const bytes = attempt(() => Array.from(crypto.getRandomValues(new Uint8Array(8))), null) || Array.from({ length: 8 }, () => Math.floor(Math.random() * 256));
  const id = "hm-" + bytes.map((byte) => byte.toString(16).padStart(2, "0")).join("") + "-" + Date.now().toString(16);
  const none = { outcome: "", larvae: "", actions: [], note: "", photo: "", lat: "", lon: "", accuracy: "" };
  return { page: data.key, id, pool, n: 0, saved: 0, date: today(), made: new Date().toISOString(), ...none };
}

function showVisit(entry) {
  open = entry;
  const pool = poolOf(entry.pool);
  byId("list").hidden = true;
  byId("visit").hidden = false;
  byId("of_list").hidden = true;
  byId("of_visit").hidden = false;
  byId("name").textContent = (pool.order + " " + pool.id).trim();
  for (const part of ["what", "caution", "consent", "about", "when"]) {
    byId(part).textContent = pool[part];
    byId(part).hidden = !pool[part];
  }
  byId("place").hidden = !pool.lat;
  byId("place").href = "geo:" + pool.lat + "," + pool.lon;
  byId("place").textContent = say("place", { lat: pool.lat, lon: pool.lon });
  for (const input of document.querySelectorAll("input[name=outcome]")) input.checked = input.value === entry.outcome;
  for (const input of document.querySelectorAll("input[name=action]")) input.checked = entry.actions.includes(input.value);
  for (const part of ["larvae", "note", "photo", "date"]) byId(part).value = entry[part];
  byId("larvae_part").hidden = entry.outcome !== "larvae";
  showPosition();
  const own = entriesOf(entry.pool), others = byId("others");
  others.replaceChildren();
  for (const one of own.filter((one) => one.id !== entry.id)) {
    const button = element("button", told(one), "wide-button");
    button.type = "button";
    button.addEventListener("click", () => showVisit(one));
    others.append(button);
  }
  others.hidden = !others.childElementCount;
  byId("again").hidden = !entry.outcome;
  byId("remove").hidden = !entries.has(entry.id) || entry.saved > 0;
  byId("remove").textContent = say("remove");
  window.scrollTo(0, 0);
}

function showPosition() {
  const has = open.lat !== "";
  byId("position").textContent = has ? say("position", { lat: open.lat, lon: open.lon, m: open.accuracy }) : "";
  byId("position").hidden = !has;
  byId("forget").hidden = !has;
}

function change(values) {
  Object.assign(open, values);
  entries.set(open.id, open);
  byId("larvae_part").hidden = open.outcome !== "larvae";
  byId("again").hidden = !open.outcome;
  byId("remove").hidden = open.saved > 0;
  return keep(open);
}

// --- the file ---------------------------------------------------------------------------------------------------------
const HEADS = ["entry", "changed", "pool", "date", "outcome", "larvae", "action", "note", "photo", "observer", "latitude", "longitude", "accuracy (m)"];

function cell(value) {
  let text = String(value).replace(/\r\n?|\n/g, " ").trim();
  if (/^['=+\-@\t]/.test(text) && !/^-?\d+(\.\d+)?$/.test(text)) text = "'" + text;
  return /[",;]/.test(text) ? '"' + text.replace(/"/g, '""') + '"' : text;
}

function csv() {
  const rows = finished().sort((a, b) => (a.date + a.made + a.id).localeCompare(b.date + b.made + b.id));
  const lines = rows.map((one) => [
    one.id, one.changed, one.pool, one.date, one.outcome, one.outcome === "larvae" ? one.larvae : "", one.actions.join(", "),
    one.note, one.photo, data.person, one.lat, one.lon, one.accuracy,
  ]);
  return "\ufeff" + [HEADS, ...lines].map((line) => line.map(cell).join(",")).join("\r\n") + "\r\n";
}

async function markSaved() {
  for (const one of finished()) {
    one.saved = one.n + 1;
    await keep(one, false);
  }
  showList();
}

async function save() {
  if (!finished().length) { tell("nothing"); return; }
  const address = URL.createObjectURL(new Blob([csv()], { type: "text/csv" }));
  const link = element("a");
  link.href = address;
  link.download = data.file;
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(address), 60000);
  await markSaved();
  tell("saved", { file: data.file });
}

function asFile() {
  return attempt(() => new File([csv()], data.file, { type: "text/csv" }), null);
}

function canSend() {
  return attempt(() => Boolean(navigator.canShare) && navigator.canShare({ files: [asFile()] }), false);
}

async function send() {
  if (!finished().length) { tell("nothing"); return; }
  const sent = await attempt(() => navigator.share({ files: [asFile()], title: data.file }).then(() => true, () => false), false);
  if (sent) await markSaved();
  tell(sent ? "sent" : "not_sent");
}

function asText() {
  const box = byId("copy");
  box.value = csv();
  byId("copy_part").hidden = false;
  box.focus();
  box.select();
}

// --- what is touched --------------------------------------------------------------------------------------------------
function askPosition() {
  if (!navigator.geolocation) { tell("no_position"); return; }
  tell("asking");
  const entry = open;
  navigator.geolocation.getCurrentPosition(
    (found) => {
      if (open !== entry) return;
      change({ lat: found.coords.latitude.toFixed(6), lon: found.coords.longitude.toFixed(6), accuracy: String(Math.max(1, Math.ceil(found.coords.accuracy))) });
      showPosition();
    },
    () => tell("no_position"),
    { enableHighAccuracy: true, timeout: 30000, maximumAge: 0 },
  );
}

function step(by) {
  const now = Number.parseInt(byId("larvae").value, 10) || 0;
  byId("larvae").value = String(Math.max(1, now + by));
  change({ larvae: byId("larvae").value });
}

function listen() {
  for (const input of document.querySelectorAll("input[name=outcome]")) {
    input.addEventListener("change", () => change({ outcome: input.value }));
  }
  for (const input of document.querySelectorAll("input[name=action]")) {
    input.addEventListener("change", () => {
      const chosen = [...document.querySelectorAll("input[name=action]")].filter((one) => one.checked).map((one) => one.value);
      change({ actions: chosen });
    });
  }
  for (const part of ["note", "photo", "larvae"]) byId(part).addEventListener("input", () => change({ [part]: byId(part).value.trim() }));
  byId("date").addEventListener("input", () => { if (byId("date").value) change({ date: byId("date").value }); });
  byId("camera").addEventListener("change", () => {
    const names = [...byId("camera").files].map((file) => file.name).join("; ");
    byId("photo").value = names;
    change({ photo: names });
  });
  byId("less").addEventListener("click", () => step(-1));
  byId("more").addEventListener("click", () => step(1));
  byId("locate").addEventListener("click", askPosition);
  byId("forget").addEventListener("click", () => { change({ lat: "", lon: "", accuracy: "" }); showPosition(); });
  byId("again").addEventListener("click", () => showVisit(fresh(open.pool)));
  byId("remove").addEventListener("click", async () => {
    if (byId("remove").textContent !== say("sure")) { byId("remove").textContent = say("sure"); return; }
    await change({ gone: true });
    showList();
  });
  byId("back").addEventListener("click", () => { showList(); byId("heading").focus(); });
  byId("save").addEventListener("click", save);
  byId("send").addEventListener("click", send);
  byId("text").addEventListener("click", asText);
  addEventListener("storage", refresh);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) refresh(); });
  addEventListener("beforeunload", (event) => { if (!byId("refused").hidden && unsaved().length) event.preventDefault(); });
}

async function start() {
  base = await openBase();
  shelf = openShelf();
  channel = attempt(() => new BroadcastChannel("round " + data.key), null);
  if (channel) channel.onmessage = refresh;
  await load();
  byId("refused").hidden = Boolean(base || shelf);
  byId("send").hidden = !canSend();
  byId("cautions").open = !entries.size; // read before the first visit, at hand after it
  listen();
  tidy();
  showList();
  document.documentElement.classList.add("ready");
}

start();
