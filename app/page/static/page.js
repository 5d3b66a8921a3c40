// The page: takes in the news of the cart, shows them, and says so when none come.
import { lasted, levelPath, merge, messages } from "/format.js";

const STALE_MS = 2000; // without news for so long the page says so over everything
const DEAD_MS = 6000; // a connection that is silent for so long is opened again
const AGAIN_MS = 500;
const MINUTE = 60;
const COOKIE_LOST = 403;
const TABS = ["cards", "tracks", "plan", "carts"];

const $ = (id) => document.getElementById(id);
const state = {
  doc: { head: {}, cards: {}, tracks: {}, plan: {} }, // with a site also: site, carts, elsewhere
  minute: [], nowS: 0, clock: "", at: 0, began: performance.now(),
  known: null, stale: false, tab: "cards", loud: false, audio: null, ending: null, shut: false,
};

// ---- news --------------------------------------------------------------------------------------

async function follow() {
  for (;;) {
    const ending = state.ending = new AbortController();
    try {
      const answer = await fetch("/news", { cache: "no-store", signal: ending.signal });
      if (answer.status === COOKIE_LOST) return askForCode("");
      if (answer.ok) {
        state.opened = performance.now();
        await readAll(answer.body.getReader());
      }
    } catch (trouble) {
      if (trouble instanceof ReferenceError) console.error(trouble); // a fault of this page itself
      // else the network is gone, or the cart: again
    } finally {
      ending.abort(); // a stream that is not read to its end would keep its connection
    }
    await new Promise((done) => setTimeout(done, AGAIN_MS));
  }
}

async function readAll(reader) {
  const decoder = new TextDecoder();
  let text = "";
  for (;;) {
    const { done, value } = await reader.read();
    if (done) return;
    const [found, rest] = messages(text + decoder.decode(value, { stream: true }));
    text = rest;
    for (const one of found) takeIn(JSON.parse(one));
  }
}

function takeIn(message) {
  state.at = performance.now();
  state.nowS = message.t;
  state.clock = message.c;
  if (message.full) {
    state.doc = merge({ head: {}, cards: {}, tracks: {}, plan: {} }, message.full);
    state.minute = message.minute;
    state.doc.fresh = true;
  }
  if (message.patch) state.doc = merge(state.doc, message.patch);
  if (message.levels) {
    if (state.minute.length && state.minute[0].length !== message.levels.length) state.minute = [];
    state.minute = [...state.minute, message.levels].slice(-MINUTE);
  }
  if (message.full || message.patch) draw();
  if (message.full || message.levels) drawLevels();
  watchdog();
}

function watchdog() {
  const waited = performance.now() - (state.at || state.began);
  const stale = waited > STALE_MS && !state.shut;
  if (stale !== state.stale) {
    state.stale = stale;
    document.body.classList.toggle("stale", stale);
    $("stale").textContent = stale ? `No news from the cart${state.clock ? ` since ${state.clock}` : ""}` : "";
    $("stale").hidden = !stale;
  }
  setText($("clock"), state.clock);
  setText($("age"), state.shut || !state.at ? "" : `● ${(waited / 1000).toFixed(1)} s`);
  if (waited > DEAD_MS && performance.now() - (state.opened ?? 0) > DEAD_MS) {
    state.opened = performance.now();
    state.ending?.abort();
  }
  if (!stale) drawTimes();
}

// ---- the code ----------------------------------------------------------------------------------

async function enter(code) {
  const answer = await post("/enter", { code });
  if (answer?.ok) {
    document.body.classList.remove("shut");
    state.shut = false;
    state.at = 0;
    state.began = performance.now();
    $("enter").hidden = true;
    showTab(state.tab);
    return follow();
  }
  if (answer === null) return askForCode("The cart does not answer.");
  const wait = answer.headers.get("Retry-After");
  return askForCode(wait ? `Too many wrong codes. Wait ${wait} s.` : "That is not the code.");
}

function askForCode(said) {
  state.shut = true;
  document.body.classList.add("shut");
  for (const name of TABS) $(`panel-${name}`).hidden = true;
  $("condition").hidden = true;
  $("enter").hidden = false;
  setText($("enter-said"), said);
  $("code").focus();
}

async function post(path, body) {
  try {
    return await fetch(path, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) });
  } catch {
    return null;
  }
}

// ---- drawing -----------------------------------------------------------------------------------

function setText(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

function make(tag, className, ...children) {
  const made = document.createElement(tag);
  if (className) made.className = className;
  made.append(...children);
  return made;
}

/** Bring the children of a panel in line with the entries, by their keys. */
function keyed(panel, entries, build, update) {
  const have = new Map([...panel.children].map((child) => [child.dataset.key, child]));
  const wanted = entries.map(([key, value]) => {
    const child = have.get(key) ?? build(key, value);
    child.dataset.key = key;
    update(child, value, key);
    return child;
  });
  for (const [key, child] of have) if (!wanted.includes(child)) child.remove();
  wanted.forEach((child, n) => {
    if (panel.children[n] !== child) panel.insertBefore(child, panel.children[n] ?? null);
  });
}

function draw() {
  const { head, cards, tracks, plan } = state.doc;
  setText($("title"), head.title ?? "trackwarden");
  $("condition").hidden = !head.text;
  $("condition").className = head.word ?? "";
  setText($("condition"), head.text ?? "");
  const list = Object.entries(cards).sort((a, b) => a[1].order - b[1].order);
  keyed($("panel-cards"), list.length ? list : [["empty", null]], buildCard, updateCard);
  keyed($("panel-tracks"), byNumber(tracks), buildTile, updateTile);
  keyed($("panel-plan"), byNumber(plan), buildWears, updateWears);
  drawCarts();
  setText($("tab-cards"), list.length ? `To fix ${list.length}` : "To fix");
  announce(list);
}

const byNumber = (all) => Object.entries(all).sort((a, b) => a[0] - b[0]);

function buildCard(key, card) {
  if (!card) return make("p", "empty");
  const h2 = make("h2", "", make("span", "shape"), make("span", "who"), make("time", "figures"));
  h2.firstChild.setAttribute("aria-hidden", "true");
  const buttons = make("div", "buttons");
  for (const [what, words] of [["way", "On my way"], ["fixed", "Fixed?"], ["seen", "Seen"]]) {
    const button = make("button", "", words);
    button.type = "button";
    button.dataset.what = what;
    button.addEventListener("click", () => press(key, what));
    buttons.append(button);
  }
  return make("article", "", h2, make("span", "fault"), make("p", "where"), make("p", "check"), make("p", "cover"), make("p", "notes"), make("p", "help"), buttons);
}

function updateCard(element, card) {
  if (!card) {
    const quiet = state.doc.head.word === "watching";
    return setText(element, quiet ? "Nothing to fix" : "");
  }
  const known = state.known === null || state.known.has(element.dataset.key);
  element.className = `card ${card.level}${card.seen ? " seen" : ""}${known ? "" : " fresh"}`;
  const get = (name) => element.querySelector(`.${name}`);
  setText(get("who"), `${card.numbers} ${card.name}`.trim());
  setText(get("fault"), faultWords(card));
  setText(get("where"), card.where);
  setText(get("check"), card.check && card.level !== "none" ? card.check : card.check ? `Check: ${card.check}` : "");
  setText(get("cover"), card.cover);
  setText(get("notes"), card.notes);
  setText(get("help"), card.help?.text ?? "");
  for (const button of element.querySelectorAll("button")) {
    const what = button.dataset.what;
    const on = what === "way" ? card.help?.stage === "on the way" : what === "fixed" && card.help?.stage === "fixed?";
    button.setAttribute("aria-pressed", String(on));
    button.hidden = !card.ids.length || (what === "seen" && (!state.doc.head.may_see || card.seen));
  }
}

function buildTile() {
  const tile = make("article", "tile");
  const shape = make("span", "shape");
  shape.setAttribute("aria-hidden", "true");
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  svg.setAttribute("viewBox", "0 0 60 20");
  svg.setAttribute("preserveAspectRatio", "none");
  svg.setAttribute("aria-hidden", "true");
  svg.append(document.createElementNS("http://www.w3.org/2000/svg", "path"));
  tile.append(make("h2", ""), make("p", "", shape, make("span", "word")), svg);
  return tile;
}

function updateTile(element, track, key) {
  const colour = track.mark === "red" || track.mark === "amber" ? track.mark : "";
  element.className = `tile ${colour}`;
  setText(element.querySelector("h2"), `${key} ${track.name}`);
  element.querySelector(".shape").className = `shape ${colour || (track.mark === "ok" ? "ok" : "other")}`;
  setText(element.querySelector(".word"), [track.word, track.note].filter(Boolean).join(" · "));
}

function drawLevels() {
  const tracks = byNumber(state.doc.tracks);
  const columns = Object.keys(state.doc.plan).sort((a, b) => a - b);
  for (const [key] of tracks) {
    const path = $("panel-tracks").querySelector(`[data-key="${CSS.escape(key)}"] path`);
    const column = columns.indexOf(key);
    path?.setAttribute("d", levelPath(state.minute.map((levels) => levels[column] ?? -72)));
  }
}

function buildWears() {
  return make("article", "wears", make("h2", ""), make("p", "place"), make("p", "more"));
}

function updateWears(element, wears, key) {
  setText(element.querySelector("h2"), `${key} ${wears.name}`);
  const pack = wears.pack ? `Pack ${wears.pack}` : "";
  setText(element.querySelector(".place"), [pack, wears.place].filter(Boolean).join(", ") || wears.kind);
  const receiver = wears.receiver ? `Receiver ${wears.receiver}` : "";
  setText(element.querySelector(".more"), [wears.who, receiver, wears.battery && `battery: ${wears.battery}`].filter(Boolean).join(" · "));
}

function drawCarts() {
  const { site, carts = {}, elsewhere = {} } = state.doc;
  $("tab-carts").hidden = !site;
  $("tabs").classList.toggle("four", Boolean(site));
  if (!site) return state.tab === "carts" ? showTab("cards") : undefined;
  const byOrder = (all) => Object.entries(all).sort((a, b) => a[1].order - b[1].order);
  setText($("site"), site.text);
  $("site").hidden = !site.text;
  $("panel-carts").classList.toggle("old", Boolean(site.text));
  setText($("more"), site.more);
  keyed($("carts"), byOrder(carts), buildCart, updateCart);
  keyed($("elsewhere"), byOrder(elsewhere), buildElsewhere, updateElsewhere);
  const bad = Object.values(carts).filter((cart) => cart.level).length;
  setText($("tab-carts"), bad ? `All carts ${bad}` : "All carts");
}

function titled(...rest) {
  const h2 = make("h2", "", make("span", "shape"), make("span", "who"), make("time", "figures"));
  h2.firstChild.setAttribute("aria-hidden", "true");
  return make("article", "card", h2, make("span", "fault"), ...rest);
}

const buildCart = () => titled(make("p", "where"));

function updateCart(element, cart) {
  element.className = `card ${cart.level || "calm"}`;
  setText(element.querySelector(".who"), cart.name);
  setText(element.querySelector(".fault"), cart.text);
  setText(element.querySelector(".where"), [cart.title, cart.more].filter(Boolean).join(" · "));
}

const buildElsewhere = () => titled(make("p", "where"), make("p", "check"), make("p", "help"));

function updateElsewhere(element, alarm) {
  element.className = `card ${alarm.level}`;
  setText(element.querySelector(".who"), `${alarm.cart}: ${alarm.name}`);
  setText(element.querySelector(".fault"), faultWords(alarm));
  for (const name of ["where", "check", "help"]) setText(element.querySelector(`.${name}`), alarm[name]);
}

const faultWords = ({ level, fault, seen }) =>
  `${level === "none" ? "NO BACKUP · " : ""}${fault}${seen ? " · seen" : ""}`;

function drawTimes() {
  const ahead = state.at ? (performance.now() - state.at) / 1000 : 0;
  const moving = state.doc.head.word !== "ended" && state.doc.head.word !== "silent";
  for (const element of $("panel-cards").children) {
    const card = state.doc.cards[element.dataset.key];
    if (!card) continue;
    const text = card.since_s === undefined ? card.time : lasted(state.nowS + (moving ? ahead : 0) - card.since_s);
    setText(element.querySelector("time"), text);
  }
  const { carts = {}, elsewhere = {} } = state.doc;
  for (const [panel, all] of [["carts", carts], ["elsewhere", elsewhere]]) {
    for (const element of $(panel).children) {
      const since = all[element.dataset.key]?.since_s;
      setText(element.querySelector("time"), since === undefined ? "" : lasted(state.nowS + ahead - since));
    }
  }
}

// ---- a new red -----------------------------------------------------------------------------------

function announce(list) {
  const urgent = list.filter(([, card]) => card.level !== "amber");
  const fresh = state.known === null ? [] : urgent.filter(([key, card]) => state.known.get(key) !== "red" && !card.seen);
  state.known = new Map(list.map(([key, card]) => [key, card.level === "amber" ? "amber" : "red"]));
  if (!fresh.length) return;
  const words = fresh.map(([, card]) => `${card.level === "none" ? "No backup: " : ""}${card.numbers} ${card.name}, ${card.fault}`);
  setText($("spoken"), words.join(". "));
  if (navigator.userActivation?.hasBeenActive) navigator.vibrate?.([250, 120, 250]);
  if (state.loud) beep();
}

function beep() {
  const audio = state.audio;
  for (const [from, hz] of [[0, 880], [0.25, 660]]) {
    const tone = new OscillatorNode(audio, { frequency: hz });
    const gain = new GainNode(audio, { gain: 0 });
    gain.gain.setTargetAtTime(0.25, audio.currentTime + from, 0.01);
    gain.gain.setTargetAtTime(0, audio.currentTime + from + 0.18, 0.02);
    tone.connect(gain).connect(audio.destination);
    tone.start(audio.currentTime + from);
    tone.stop(audio.currentTime + from + 0.4);
  }
}

// ---- fingers -------------------------------------------------------------------------------------

async function press(key, what) {
  const card = state.doc.cards[key];
  if (!card) return;
  const off = (what === "way" && card.help?.stage === "on the way") || (what === "fixed" && card.help?.stage === "fixed?");
  const name = what === "seen" ? "" : await myName();
  if (name === null) return;
  await post("/act", { ids: card.ids, what: off ? "off" : what, name });
}

function myName() {
  const known = recall();
  if (known) return Promise.resolve(known);
  $("ask").showModal();
  $("name").focus();
  return new Promise((done) => {
    $("ask").addEventListener("close", () => {
      const name = $("ask").returnValue === "ok" ? $("name").value.trim() : "";
      if (name) remember(name);
      done(name || null);
    }, { once: true });
  });
}

function recall() {
  try {
    return localStorage.getItem("name");
  } catch {
    return null;
  }
}

function remember(name) {
  try {
    localStorage.setItem("name", name);
  } catch { /* a private window may refuse */ }
}

function showTab(name) {
  state.tab = name;
  for (const one of TABS) {
    $(`panel-${one}`).hidden = one !== name;
    $(`tab-${one}`).setAttribute("aria-selected", String(one === name));
    $(`tab-${one}`).tabIndex = one === name ? 0 : -1;
  }
}

function begin() {
  TABS.forEach((name) => {
    $(`tab-${name}`).addEventListener("click", () => showTab(name));
    $(`tab-${name}`).addEventListener("keydown", (event) => {
      const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
      if (!step) return;
      const tabs = TABS.filter((one) => !$(`tab-${one}`).hidden);
      showTab(tabs.at((tabs.indexOf(name) + step) % tabs.length));
      $(`tab-${state.tab}`).focus();
    });
  });
  $("bell").addEventListener("click", () => {
    state.loud = !state.loud;
    state.audio ??= new AudioContext();
    $("bell").setAttribute("aria-pressed", String(state.loud));
    setText($("bell"), state.loud ? "Sound: on" : "Sound: off");
    if (state.loud) beep();
  });
  $("ask-ok").value = "ok";
  $("ask-cancel").addEventListener("click", () => $("ask").close(""));
  $("enter-form").addEventListener("submit", (event) => {
    event.preventDefault();
    enter($("code").value.trim());
  });
  setInterval(watchdog, 100);
  document.addEventListener("visibilitychange", watchdog);
  const code = location.hash.slice(1);
  if (code) history.replaceState(null, "", "/");
  if (code) enter(code);
  else follow();
}

begin();
