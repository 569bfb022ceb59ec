/* The page of a telephone: shows what the kiosk says and forwards what a hand does.  It decides nothing, keeps no
   secret where a script could read it, and never shows an outcome for anything but what it was asked last. */
"use strict";
(() => {
  const $ = (id) => document.getElementById(id);
  const SILENT_MS = 1800; // nothing heard for so long: the link is lost
  const FRAME_MS = 120; // at most so often is a frame sent
  const LONG_PX = 1280; // of a live frame
  const PHOTO_PIXELS = 12.5e6;
  const LOOK_AGAIN_MS = 3000;

  let words = {};
  let fingerprint = "";
  let paired = false;
  let ended = false;
  let number = 0; // of the newest outcome that was shown
  let heard = performance.now();
  let linked = false;
  let news = null;
  let newsSince = 0;
  let view = "scan";
  let holder = { key: "", name: "" }; // that is to go into a machine
  let alarmed = null;
  let alarms = [];
  let busy = 0; // questions whose answer a hand waits for
  let unsure = false;
  let boardSeen = null;

  // Words and elements --------------------------------------------------------------------------------------

  const say = (key, values = {}) =>
    (words[key] ?? "").replace(/\{(\w+)\}/g, (_, name) => String(values[name] ?? ""));

  // Of the forms CLDR knows a sentence has `one`, `few` where the language has it, and `many` for all the rest.
  const form = (count) => {
    const named = new Intl.PluralRules(document.documentElement.lang || "en").select(count);
    return words[`strip.hot.${named}`] ? named : "many";
  };

  function el(tag, kind, text, ...inside) {
    const made = document.createElement(tag);
    if (kind) made.className = kind;
    if (text !== undefined && text !== null && text !== "") made.textContent = text;
    if (tag === "button") made.type = "button";
    made.append(...inside.filter(Boolean));
    return made;
  }

  const key = (text, then, kind = "key") => {
    const made = el("button", kind, text);
    made.addEventListener("click", then);
    return made;
  };

  function put(place, ...parts) {
    place.replaceChildren(...parts.filter(Boolean));
  }

  function time(seconds) {
    const left = Math.max(0, Math.ceil(seconds));
    const two = (part) => String(part).padStart(2, "0");
    const minutes = Math.floor(left / 60);
    return minutes < 60
      ? `${minutes}:${two(left % 60)}`
      : `${Math.floor(minutes / 60)}:${two(minutes % 60)}:${two(left % 60)}`;
  }

  const until = (seconds) => performance.now() + seconds * 1000;
  const rest = (moment) => (moment - performance.now()) / 1000;

  function speak() {
    for (const each of document.querySelectorAll("[data-say]")) each.textContent = say(each.dataset.say);
    for (const each of document.querySelectorAll("[data-name]")) each.setAttribute("aria-label", say(each.dataset.name));
    for (const each of document.querySelectorAll("[data-place]")) each.placeholder = say(each.dataset.place);
    $("fingerprint").textContent = fingerprint.replaceAll(":", " ");
    strip();
  }

  // Asking --------------------------------------------------------------------------------------------------

  class Lost extends Error {}
  class Over extends Error {}
  const wait = (ms) => new Promise((then) => setTimeout(then, ms));
  const fresh = () => crypto.randomUUID();

  async function send(path, body, kind, same, limitMs) {
    const answer = await fetch(path, {
      method: "POST", body, headers: { "content-type": kind, "x-key": same }, cache: "no-store", redirect: "error",
      signal: AbortSignal.timeout(limitMs),
    });
    if (answer.status === 401) {
      over("over");
      throw new Over();
    }
    const found = await answer.json().catch(() => ({}));
    return { status: answer.status, body: found };
  }

  // What a hand asked for is sent again under the same name until there is an answer: it is done once.
  async function ask(question, tries = 5) {
    const same = fresh();
    for (let turn = 1; ; turn += 1) {
      try {
        const { status, body } = await send("/ask", JSON.stringify(question), "application/json", same, 8000);
        if (![429, 503, 504].includes(status)) return body;
      } catch (error) {
        if (error instanceof Over) throw error;
      }
      if (turn >= tries) throw new Lost();
      await wait(400 * turn);
    }
  }

  // For a touch: says that it waits, and what became of it if nobody answers.
  async function touch(question, then) {
    if (busy) return;
    busy += 1;
    unsure = true;
    document.body.setAttribute("aria-busy", "true");
    try {
      const body = await ask(question);
      unsure = false;
      if (body.kind === "fault") tell(body.say, "stop");
      else then(body);
    } catch (error) {
      if (error instanceof Lost) tell(say("phone.unsure"), "stop");
      else if (!(error instanceof Over)) throw error;
    } finally {
      busy -= 1;
      document.body.removeAttribute("aria-busy");
    }
  }

  // What fills the page is all there is to touch or to hear read, whatever stands behind it.
  const covers = ["alarm", "link", "gate"].map($);
  const alone = new MutationObserver(() => {
    const top = covers.find((each) => !each.hidden);
    for (const each of document.body.children) each.inert = Boolean(top) && each !== top;
    if (top === $("alarm")) $("understood").focus();
  });
  for (const each of covers) alone.observe(each, { attributes: true, attributeFilter: ["hidden"] });

  // The link ------------------------------------------------------------------------------------------------

  function listen() {
    if (news) news.close();
    newsSince = performance.now();
    news = new EventSource("/news");
    news.addEventListener("beat", alive);
    news.addEventListener("board", (event) => {
      alive();
      board(JSON.parse(event.data));
    });
    news.addEventListener("ended", () => over("over"));
    news.addEventListener("closed", () => over("closed"));
    news.addEventListener("replaced", () => news.close());
  }

  function alive() {
    heard = performance.now();
    if (!linked && paired) {
      linked = true;
      $("link").hidden = $("alarm-link").hidden = true;
      comeBack();
    }
  }

  setInterval(() => {
    if (!paired) return;
    const silent = performance.now() - heard;
    if (silent > SILENT_MS && linked) {
      linked = false;
      stopEye();
      idle();
    }
    if (silent > SILENT_MS) {
      $("link-unsure").textContent = unsure ? say("phone.unsure") : "";
      $("link").hidden = $("alarm-link").hidden = false;
      if (performance.now() - newsSince > 3000 && document.visibilityState === "visible") {
        listen();
        stillMine();
      }
    }
  }, 200);

  async function stillMine() {
    try {
      await send("/ask", '{"ask":"me"}', "application/json", fresh(), 2500);
    } catch (error) {
      /* the link is still lost, or the page has said that it is over */
    }
  }

  // What came of what was asked while no answer was heard?  False where even that is not heard.
  async function catchUp() {
    try {
      const me = await ask({ ask: "me" });
      if (me.kind !== "me") return false;
      unsure = false;
      $("strip-who").textContent = me.person || me.kiosk;
      if (me.last && me.last.number > number) shown(me.last);
      else if (me.waits && me.waits.kind) card(me.waits);
      else if (waiting) idle(); // a page that slept: its clock may have stood still
      return true;
    } catch (error) {
      if (!(error instanceof Lost || error instanceof Over)) throw error;
      return false;
    }
  }

  // The page begins, wakes, or has its link again: where was it?
  async function comeBack() {
    if (await catchUp()) go(view);
  }

  // A frame was sent and nobody said what came of it: what stands there is no answer to it.
  async function doubt() {
    idle();
    if (linked) await catchUp();
  }

  function over(how) {
    if (ended) return; // what was said first stays: several answers tell of one end
    ended = true;
    const why = paired || how === "closed" ? how : "gate"; // a page that was nobody's is not told that it ended
    paired = false;
    linked = false;
    if (news) news.close();
    stopEye();
    $("link").hidden = $("alarm-link").hidden = true; // an alarm stays until somebody has seen it, whatever ended
    gate(`phone.${why}`, `phone.${why}_remedy`);
  }

  function gate(title, remedy, plain) {
    $("gate-title").textContent = plain ?? say(title);
    $("gate-remedy").textContent = remedy ? say(remedy) : "";
    $("gate").hidden = false;
  }

  // The first visit -----------------------------------------------------------------------------------------

  async function begin() {
    const token = location.hash.slice(1);
    history.replaceState(null, "", "/"); // it is used up now, and stays in no history
    const spoken = await (await fetch("/words", { cache: "no-store" })).json();
    ({ words, fingerprint } = spoken);
    document.documentElement.lang = spoken.language;
    speak();
    view = sessionStorage.getItem("view") || "scan";
    JSON.parse(sessionStorage.getItem("alarms") || "[]").forEach(raise); // that nobody has seen yet
    if (token) {
      gate("phone.pairing", "");
      const body = JSON.stringify({ token });
      const answer = await send("/pair", body, "application/json", fresh(), 10000);
      if (answer.status !== 200) {
        gate("phone.gate", "phone.gate_remedy", answer.body.say);
        return;
      }
    }
    const { status, body } = await send("/ask", '{"ask":"me"}', "application/json", fresh(), 8000);
    if (status !== 200) throw new Lost();
    number = body.number;
    paired = true;
    heard = performance.now();
    $("gate").hidden = true;
    listen();
  }

  // Sound and touch -----------------------------------------------------------------------------------------

  const sounds = Object.fromEntries(["done", "refused", "hot"].map((name) => [name, new Audio(`/${name}.wav`)]));
  let touched = false;
  // A browser plays nothing before the first touch: that touch makes them ready, unheard.
  addEventListener("pointerdown", () => {
    touched = true;
    if ($("hint").textContent === say("phone.sound")) hint("");
    for (const sound of Object.values(sounds)) {
      sound.muted = true;
      sound.play().then(() => {
        sound.pause();
        sound.currentTime = 0;
        sound.muted = false;
      }, () => { sound.muted = false; });
    }
  }, { once: true });

  // What helps with the label in view; a page that cannot be heard yet says so where there is nothing to help with.
  const hint = (text) => { $("hint").textContent = text || (touched ? "" : say("phone.sound")); };

  function play(name) {
    const sound = sounds[name];
    sound.muted = false;
    sound.currentTime = 0;
    sound.play().catch(() => {});
    if (navigator.vibrate) navigator.vibrate({ done: 60, refused: [90, 70, 90], hot: [400, 120, 400, 120, 800] }[name]);
  }

  // Outcomes ------------------------------------------------------------------------------------------------

  const SIGNS = { done: "✓", stop: "✕", wait: "→", idle: "" };

  let waiting = 0; // the first scan of a pair is forgotten by the kiosk, and goes from here then

  function card(what) {
    const left = what.undo_s ? until(what.undo_s) : 0;
    const place = $("card");
    clearTimeout(waiting);
    waiting = 0;
    if (what.state === "wait" && typeof what.wait_s === "number") waiting = setTimeout(idle, what.wait_s * 1000);
    $("view-scan").scrollTop = 0;
    place.className = `card ${what.state}`;
    place.dataset.number = what.number ?? "";
    const word = el("p", "word", "", el("span", "sign", SIGNS[what.state] ?? ""), what.word || "");
    const moved = what.goal ? el("p", "goal", `${what.origin ? `${what.origin} → ` : ""}${what.goal}`) : null;
    put(
      place,
      what.word ? word : null,
      what.title ? el("p", "title", what.title) : null,
      moved,
      !moved && what.origin ? el("p", "", what.origin) : null,
      what.why ? el("p", "", what.why) : null,
      what.remedy ? el("p", "title", what.remedy) : null,
      what.detail ? el("p", "quiet", what.detail) : null,
      what.next ? el("p", "", what.next) : null,
      what.offer === "adopt" ? el("p", "quiet", say("phone.adopt")) : null,
    );
    const keys = el("div", "keys");
    if (what.offer === "pocket") {
      keys.append(key(say("scan.pocket"), () => intoMachine(what.holder, what.title)));
    }
    if (left) keys.append(undoKey(left));
    if (keys.childElementCount) place.append(keys);
  }

  function undoKey(left) {
    const made = key("", () => touch({ ask: "undo" }, shown));
    made.dataset.until = left;
    made.dataset.word = say("card.undo");
    count(made);
    return made;
  }

  function count(each) {
    const left = rest(Number(each.dataset.until));
    if (each.dataset.word && left <= 0) each.remove();
    else each.textContent = `${each.dataset.word ? `${each.dataset.word} ` : ""}${time(left)}`;
  }

  setInterval(() => document.querySelectorAll("[data-until]").forEach(count), 500);

  function idle() {
    card({ state: "idle", title: say("scan.idle") });
  }

  function tell(text, state) {
    card({ state, word: "", title: text });
    if (view !== "scan") notice(text, state);
    play(state === "stop" ? "refused" : "done");
  }

  // Shows an outcome, but never an older one than was shown before.
  function shown(what) {
    if (what.kind === "said") {
      notice(what.say, what.good ? "done" : "stop");
      play(what.good ? "done" : "refused");
      return;
    }
    if (what.kind !== "outcome" || what.number <= number) return;
    number = what.number;
    if (what.state === "hot") {
      raise(what);
      idle();
      return;
    }
    card(what);
    if (what.state !== "wait") play(what.state === "done" ? "done" : "refused");
    if (what.lead === "card") typeCard(what.holder, what.undo_s);
    else if (what.lead === "condition") condition(what.holder, what.title);
    else if (what.lead === "machine") intoMachine(what.holder, "", what.machine);
    else if (what.lead) go(what.lead);
    else if (view !== "scan" && view !== "audit") go("scan");
    if (view === "audit") lookAtAudit();
  }

  function notice(text, state) {
    const place = document.querySelector(`#view-${view} .said`);
    if (place) {
      place.className = `said ${state}`;
      place.textContent = text;
      place.hidden = !text;
    }
  }

  // The alarm: fills the page, and no scan is taken before somebody has seen it -----------------------------

  const keepAlarms = () => sessionStorage.setItem("alarms", JSON.stringify(alarmed ? [alarmed, ...alarms] : []));

  function raise(what) {
    if (alarmed) {
      alarms.push(what);
      keepAlarms();
      play("hot");
      return;
    }
    alarmed = what;
    keepAlarms();
    for (const name of ["title", "place", "about", "until"]) $(`alarm-${name}`).textContent = what[name] || "";
    if (!what.place && what.why) $("alarm-place").textContent = what.why;
    $("alarm-remedy").textContent = what.remedy || "";
    const left = $("alarm-left");
    left.textContent = "";
    delete left.dataset.until;
    if (typeof what.left_s === "number" && what.left_s > 0) {
      left.dataset.until = until(what.left_s);
      count(left);
    }
    $("alarm").hidden = false;
    $("understood").focus();
    play("hot");
  }

  $("understood").addEventListener("click", () => {
    alarmed = null;
    $("alarm").hidden = true;
    if (alarms.length) raise(alarms.shift());
    else keepAlarms();
    if (!alarmed && !ended) go(view);
  });

  // Scan ----------------------------------------------------------------------------------------------------

  const eye = { stream: null, running: 0, absent: false };
  const frame = document.createElement("canvas");

  async function openEye() {
    const run = (eye.running += 1);
    if (!eye.stream) {
      $("hint").textContent = say("phone.looking");
      try {
        eye.stream = await navigator.mediaDevices.getUserMedia({
          audio: false, video: { facingMode: "environment", width: { ideal: LONG_PX }, height: { ideal: 960 } },
        });
        eye.absent = false;
      } catch (error) {
        eye.absent = true;
      }
      if (run !== eye.running) {
        closeStream();
        return;
      }
    }
    $("sight").classList.toggle("blind", eye.absent);
    hint(eye.absent ? say("phone.no_camera") : "");
    if (eye.absent) return;
    const live = $("live");
    live.srcObject = eye.stream;
    await live.play().catch(() => {});
    const track = eye.stream.getVideoTracks()[0];
    $("torch-key").hidden = !(track.getCapabilities && track.getCapabilities().torch);
    while (run === eye.running && view === "scan" && linked) {
      const began = performance.now();
      if (!alarmed && !busy && live.videoWidth && document.visibilityState === "visible") await look(live);
      await wait(Math.max(10, FRAME_MS - (performance.now() - began)));
    }
  }

  async function look(live) {
    const scale = Math.min(1, LONG_PX / Math.max(live.videoWidth, live.videoHeight));
    frame.width = Math.round(live.videoWidth * scale);
    frame.height = Math.round(live.videoHeight * scale);
    frame.getContext("2d").drawImage(live, 0, 0, frame.width, frame.height);
    const picture = await new Promise((then) => frame.toBlob(then, "image/jpeg", 0.8));
    if (!picture) return;
    try {
      const { status, body } = await send("/frame", picture, "image/jpeg", fresh(), 6000);
      if (body.kind !== "glance") {
        if (status === 504) await doubt();
        else if (status === 429 || status === 503) await wait(500);
        return;
      }
      aim(body);
      hint(body.hint ? say(body.hint) : "");
      came(body.came);
    } catch (error) {
      if (error instanceof Over) return;
      await doubt();
      await wait(300);
    }
  }

  function came(body) {
    if (!body) return;
    if (body.kind === "fault") tell(body.say, "stop");
    else shown(body);
  }

  function aim(glance) {
    const canvas = $("aim");
    const box = canvas.getBoundingClientRect();
    canvas.width = Math.round(box.width * devicePixelRatio);
    canvas.height = Math.round(box.height * devicePixelRatio);
    if (!glance.corners) return;
    const [width, height] = glance.size;
    const scale = Math.max(canvas.width / width, canvas.height / height); // as `object-fit: cover` lays it
    const left = (canvas.width - width * scale) / 2;
    const top = (canvas.height - height * scale) / 2;
    const pen = canvas.getContext("2d");
    pen.lineWidth = 5 * devicePixelRatio;
    pen.lineJoin = "round";
    pen.strokeStyle = glance.read ? "#5fb878" : "#f2b134";
    pen.setLineDash(glance.read ? [] : [14 * devicePixelRatio, 10 * devicePixelRatio]);
    pen.beginPath();
    for (const [x, y] of glance.corners) pen.lineTo(left + x * scale, top + y * scale);
    pen.closePath();
    pen.stroke();
  }

  function closeStream() {
    if (eye.stream) for (const track of eye.stream.getTracks()) track.stop();
    eye.stream = null;
    $("live").srcObject = null;
  }

  function stopEye() {
    eye.running += 1;
    closeStream();
    $("torch-key").setAttribute("aria-pressed", "false");
  }

  $("torch-key").addEventListener("click", async (event) => {
    const on = event.target.getAttribute("aria-pressed") !== "true";
    const track = eye.stream && eye.stream.getVideoTracks()[0];
    if (!track) return;
    await track.applyConstraints({ advanced: [{ torch: on }] }).catch(() => {});
    event.target.setAttribute("aria-pressed", String(on));
  });

  // A picture as the browser turns it upright, made small enough, without what a camera notes of where it was.
  async function upright(file, pixels) {
    const whole = await createImageBitmap(file);
    const scale = Math.min(1, Math.sqrt(pixels / (whole.width * whole.height)));
    const canvas = document.createElement("canvas");
    canvas.width = Math.round(whole.width * scale);
    canvas.height = Math.round(whole.height * scale);
    canvas.getContext("2d").drawImage(whole, 0, 0, canvas.width, canvas.height);
    whole.close();
    return canvas;
  }

  const jpeg = (canvas) => new Promise((then) => canvas.toBlob(then, "image/jpeg", 0.9));

  async function pictured(path, file, pixels, then) {
    if (busy) return;
    busy += 1;
    unsure = true;
    try {
      let canvas;
      try {
        canvas = await upright(file, pixels);
      } catch (error) {
        tell(say("phone.no_picture"), "stop");
        return;
      }
      const picture = await jpeg(canvas);
      const same = fresh();
      for (let turn = 1; turn < 4; turn += 1) {
        try {
          const { status, body } = await send(path, picture, "image/jpeg", same, 25000);
          if (![429, 503, 504].includes(status)) {
            unsure = false;
            then(body, canvas);
            return;
          }
        } catch (error) {
          if (error instanceof Over) return;
        }
        await wait(700 * turn);
      }
      tell(say("phone.unsure"), "stop");
    } finally {
      busy -= 1;
    }
  }

  $("picture").addEventListener("change", (event) => {
    const [file] = event.target.files;
    if (!file) return;
    card({ state: "idle", title: say("phone.moment") });
    pictured("/picture", file, PHOTO_PIXELS, (body) => {
      if (body.kind !== "glance") tell(say("phone.no_picture"), "stop");
      else if (body.nothing) tell(say("phone.nothing"), "stop");
      else came(body.came);
    }).finally(() => { event.target.value = ""; });
  });

  $("type-key").addEventListener("click", () => {
    $("type-form").hidden = !$("type-form").hidden;
    if (!$("type-form").hidden) $("typed").focus();
  });

  $("type-form").addEventListener("submit", (event) => {
    event.preventDefault();
    const text = $("typed").value.replace(/\s/g, "").toUpperCase();
    if (!text) return;
    card({ state: "idle", title: say("phone.moment") });
    touch({ ask: "scan", texts: [text] }, (body) => {
      $("typed").value = "";
      $("type-form").hidden = true;
      shown(body);
    });
  });

  // Hot -----------------------------------------------------------------------------------------------------

  function board(seen) {
    boardSeen = seen;
    strip();
    if (view === "hot") drawBoard();
  }

  function strip() {
    const hot = boardSeen ? boardSeen.hot : 0;
    const text = !boardSeen ? "strip.opening" : hot === 0 ? "strip.quiet" : `strip.hot.${form(hot)}`;
    $("strip-hot").textContent = `${hot ? "⚠ " : ""}${say(text, { count: hot })}`;
    $("strip-hot").classList.toggle("heat", hot > 0);
  }

  function drawBoard() {
    if (!boardSeen) return;
    const rows = boardSeen.rows.map((row) => {
      const left = el("span", "left");
      if (typeof row.left_s === "number") {
        left.dataset.until = until(row.left_s);
        count(left);
      }
      const sign = el("span", "sign", row.tone === "heat" ? "⚠" : "–");
      return el("div", `row ${row.tone}`, "", sign, el("span", "name", row.name), left,
        el("span", "says", [row.says, row.about].filter(Boolean).join(" · ")), el("span", "note", row.place));
    });
    if (!rows.length) rows.push(el("h1", "", say("hot.none")), el("p", "quiet", say("hot.none_remedy")));
    if (boardSeen.more) rows.push(el("p", "quiet", `${boardSeen.more} ${say("phone.more")}`));
    put($("hot-rows"), ...rows);
  }

  // Find ----------------------------------------------------------------------------------------------------

  let sought = 0;

  $("sought").addEventListener("input", () => find());

  async function find() {
    const turn = (sought += 1);
    await wait(120);
    if (turn !== sought) return;
    try {
      const found = await ask({ ask: "find", text: $("sought").value.trim() });
      if (turn !== sought || view !== "find") return;
      if (found.kind === "fault") {
        put($("found"), el("p", "said stop", found.say));
        return;
      }
      const rows = found.rows.map((row) => {
        const made = key("", () => touch({ ask: "way", holder: row.holder }, (way) => takeThere(row.holder, way)),
          `row ${row.tone}`);
        made.append(el("span", "sign", row.sign), el("span", "name", row.name), el("span"), el("span", "says", row.word),
          row.note ? el("span", "note", row.note) : "");
        return made;
      });
      put($("found"), ...(rows.length ? rows : [el("p", "quiet", found.nothing)]));
    } catch (error) {
      if (!(error instanceof Lost || error instanceof Over)) throw error;
    }
  }

  function takeThere(which, way) {
    put($("found"), key(`‹ ${say("reading.back")}`, find), el("h1", "", way.name),
      el("p", way.tone, "", el("span", "sign", `${way.sign} `), way.word),
      ...way.stations.map((name) => el("p", "station", name)), el("p", "quiet", way.code), el("p", "said", "", ""),
      el("div", "keys", "", key(say("phone.to_machine"), () => intoMachine(which, way.name)),
        key(say("phone.to_type"), () => typeCard(which, 0))));
    document.querySelector("#found .said").hidden = true;
    $("view-find").scrollTop = 0;
  }

  // Machines ------------------------------------------------------------------------------------------------

  function intoMachine(which, name, code) {
    holder = { key: which, name };
    if (view !== "machine") go("machine", false);
    if (code) touch({ ask: "machine", code, holder: which }, drawMachine);
    else listMachines();
  }

  function goingIn() {
    return holder.key ? el("p", "said", `${say("phone.going_in")} ${holder.name}`) : el("p", "quiet", say("phone.machines"));
  }

  async function listMachines() {
    try {
      const found = await ask({ ask: "machines" });
      if (view !== "machine" || found.kind !== "machines") return;
      put($("machine"), el("div", "column", "", goingIn(), ...found.rows.map((row) => {
        const made = key("", () => touch({ ask: "machine", code: row.code, holder: holder.key }, drawMachine), "row");
        made.append(el("span", "sign", "▦"), el("span", "name", row.name), el("span"), el("span", "note", row.note));
        return made;
      })));
    } catch (error) {
      if (!(error instanceof Lost || error instanceof Over)) throw error;
    }
  }

  function drawMachine(machine) {
    if (machine.title) holder = { key: machine.holder, name: machine.title };
    const about = el("div", "said", machine.no_room || say("machine.choose"));
    about.setAttribute("aria-live", "polite");
    const grid = el("div", "grid");
    const choose = (pocket, spot) => {
      for (const other of grid.children) other.setAttribute("aria-pressed", String(other === spot));
      put(about, el("p", "", pocket.about), pocket.remedy ? el("p", "", pocket.remedy) : null,
        pocket.may ? key(say("machine.put"), () => touch(
          { ask: "hand_over", pocket: pocket.code, holder: machine.holder }, shown), "key act") : null,
        pocket.holder ? key(say("phone.to_type"), () => typeCard(pocket.holder, 0)) : null);
      about.className = `said ${pocket.remedy ? "stop" : ""}`;
    };
    for (const pocket of machine.pockets) {
      const spot = key("", () => choose(pocket, spot), `spot ${pocket.tone}`);
      spot.append(el("span", "sign", pocket.sign), el("span", "", pocket.label));
      spot.setAttribute("aria-label", `${pocket.label}: ${pocket.about}`);
      grid.append(spot);
      if (pocket.label === String(machine.best).padStart(2, "0") && pocket.may) choose(pocket, spot);
    }
    put($("machine"), el("div", "column", "", key(`‹ ${say("phone.machine")}`, listMachines), el("h1", "", machine.name),
      holder.key ? el("p", "", `${say("phone.going_in")} ${holder.name}`) : el("p", "quiet", machine.note), about, grid));
    $("view-machine").scrollTop = 0;
  }

  function typeCard(which, undo) {
    if (view !== "machine") go("machine", false);
    const left = undo ? until(undo) : 0;
    const draw = (found) => {
      holder = { key: "", name: "" };
      const figures = el("dl", "figures");
      for (const [name, value] of found.rows) figures.append(el("dt", "", name), el("dd", "", value));
      const say1 = found.mind || say("card_to_type.title");
      put($("machine"), el("div", "column", "", el("h1", "", found.name),
        el("p", found.good ? "said" : "said stop", say1), found.rows.length ? figures : null,
        el("div", "keys", "", key(say("card_to_type.typed"), () => go("scan"), "key act"), left ? undoKey(left) : null)));
    };
    const later = () => touch({ ask: "card", holder: which }, draw);
    if (busy) setTimeout(later, 0);
    else later();
  }

  function condition(which, name) {
    if (view !== "machine") go("machine", false);
    const keys = ["good", "worn", "broken", "unknown"].map((word) => key(say(`condition.${word}`), () =>
      touch({ ask: "condition", holder: which, condition: word }, (body) => {
        go("scan");
        card({ state: "done", word: "", title: body.say });
        play("done");
      })));
    put($("machine"), el("div", "column", "", el("h1", "", say("phone.came_back")), el("p", "", name), ...keys,
      key(say("phone.later"), () => go("scan"))));
  }

  // Audit ---------------------------------------------------------------------------------------------------

  const walk = { audit: null, at: 0, page: "walk", looked: 0 };

  async function lookAtAudit() {
    try {
      const found = await ask({ ask: "audits" }, 2);
      if (view === "audit" && !busy) drawAudit(found);
    } catch (error) {
      if (!(error instanceof Lost || error instanceof Over)) throw error;
    }
  }

  setInterval(() => {
    if (view === "audit" && linked && !busy && !alarmed && walk.page !== "photo"
      && document.visibilityState === "visible") lookAtAudit();
  }, LOOK_AGAIN_MS);

  function drawAudit(found) {
    const same = JSON.stringify(found);
    if (walk.last === same && $("audit").childElementCount) return; // nothing is torn from under a finger
    walk.last = same;
    if (found.kind === "audits") {
      walk.audit = null;
      walk.page = "walk";
      put($("audit"), el("div", "column", "", hiddenSaid(), el("p", "quiet", say("auditing.which_note")),
        el("div", "rows", "", ...found.rows.map((row) => {
          const made = key("", () => touch({ ask: "open_audit", place: row.place }, drawAudit), "row");
          made.append(el("span", "sign", "▤"), el("span", "name", row.name), el("span"), el("span", "note", row.note));
          return made;
        }))));
      return;
    }
    if (!walk.audit || walk.audit.key !== found.key) walk.at = 0;
    if (walk.audit && found.at && found.at !== walk.audit.at) {
      const there = found.groups.findIndex((group) => found.at === group.name || found.at.startsWith(`${group.name}-`)
        || found.at.startsWith(`${group.name} `));
      if (there >= 0) walk.at = there;
    }
    walk.audit = found;
    if (walk.page === "differences") drawDifferences();
    else if (walk.page === "walk") drawWalk();
  }

  function hiddenSaid() {
    const made = el("p", "said");
    made.setAttribute("role", "status");
    made.hidden = true;
    return made;
  }

  function drawWalk() {
    const audit = walk.audit;
    walk.page = "walk";
    walk.at = Math.min(walk.at, Math.max(0, audit.groups.length - 1));
    const group = audit.groups[walk.at];
    const said = hiddenSaid();
    const total = el("p", "count", String(audit.seen), el("small", "", ` / ${audit.expected}`));
    total.setAttribute("aria-label", say("auditing.total", audit));
    const turn = (by) => {
      walk.at = (walk.at + by + audit.groups.length) % audit.groups.length;
      drawWalk();
    };
    const before = key("‹", () => turn(-1));
    before.setAttribute("aria-label", say("phone.previous"));
    const after = key("›", () => turn(1));
    after.setAttribute("aria-label", say("phone.following"));
    const grid = el("div", "grid");
    for (const spot of group ? group.spots : []) {
      const made = key("", () => {
        said.hidden = false;
        said.className = `said ${spot.tone}`;
        said.textContent = [spot.label, spot.name, spot.state].filter(Boolean).join(" · ");
        if (spot.holder) {
          said.append(" ", key(say("phone.where_last"), () => touch({ ask: "look_for", holder: spot.holder },
            (body) => { said.textContent = body.say || spot.state; })));
        }
      }, `spot ${spot.tone}`);
      made.append(el("span", "sign", spot.sign), el("span", "", spot.label));
      made.setAttribute("aria-label", [spot.label, spot.state, spot.name].filter(Boolean).join(", "));
      grid.append(made);
    }
    const photo = el("label", "key act", "", el("span", "", say("phone.photo")));
    const file = el("input");
    Object.assign(file, { type: "file", accept: "image/*", id: "drawer" });
    file.setAttribute("capture", "environment");
    file.addEventListener("change", () => file.files[0] && photograph(group, file.files[0]));
    photo.append(file);
    put($("audit"), el("div", "column", "", el("h1", "", audit.place), total,
      el("p", "quiet", audit.people), said,
      group ? el("div", "keys", "", before, el("p", "", "", el("strong", "", group.name), el("br"), group.note), after) : null,
      grid, group ? photo : null,
      el("div", "keys", "", key(say("phone.scan_on"), () => go("scan")),
        key(`${say("phone.differences")} ${audit.differences.length}`, () => { walk.page = "differences"; drawDifferences(); })),
      el("div", "keys", "", key(say("auditing.pause"), () => touch({ ask: "pause_audit" }, drawAudit)),
        key(say("auditing.close"), () => touch({ ask: "close_audit" }, closed)))));
  }

  function closed(body) {
    if (!body.good) walk.page = "differences";
    walk.last = "";
    drawAudit(body.audit);
    notice(body.say, body.good ? "done" : "stop");
    play(body.good ? "done" : "refused");
  }

  function drawDifferences() {
    const audit = walk.audit;
    const settle = (each, action, reason = "") => touch(
      { ask: "settle", difference: each.key, action, reason }, (body) => {
        walk.last = "";
        drawAudit(body.audit);
        notice(body.say, body.good ? "done" : "stop");
        play(body.good ? "done" : "refused");
      });
    const rows = audit.differences.map((each) => {
      const row = el("div", `row ${each.tone}`, "", el("span", "sign", each.sign), el("span", "name", each.name),
        el("span"), el("span", "says", each.what), each.places ? el("span", "note", each.places) : null);
      const keys = el("div", "keys");
      for (const action of each.actions) {
        keys.append(key(action.word, () => {
          if (action.reason) {
            put(keys, el("p", "", say("phone.why_open")), ...audit.reasons.map((why) =>
              key(why.word, () => settle(each, action.action, why.reason))));
          } else settle(each, action.action);
        }));
      }
      return el("div", "column", "", row, keys);
    });
    put($("audit"), el("div", "column", "", key(`‹ ${say("phone.walk")}`, drawWalk), el("h1", "", say("phone.differences")),
      hiddenSaid(), ...(rows.length ? rows : [el("p", "quiet", say("phone.no_differences"))])));
  }

  const TONES = { done: "#5fb878", stop: "#f2b134", heat: "#e23b2e", missing: "#ffffff", plain: "#ffffff" };

  function photograph(group, file) {
    walk.page = "photo";
    put($("audit"), el("div", "column", "", el("h1", "", group.name), el("p", "said", say("phone.reading"))));
    pictured(`/drawer?place=${encodeURIComponent(group.code)}`, file, PHOTO_PIXELS, (body, canvas) => {
      if (body.kind !== "photo") {
        drawWalk();
        tell(body.kind === "fault" ? body.say : say("phone.no_picture"), "stop");
        return;
      }
      drawPhoto(group, body, canvas);
    }).finally(() => { if (walk.page === "photo" && !$("photo")) drawWalk(); });
  }

  function drawPhoto(group, body, canvas) {
    const pen = canvas.getContext("2d");
    const unit = canvas.width / 100;
    const outline = (mark) => {
      pen.lineWidth = unit * 0.7;
      pen.strokeStyle = TONES[mark.tone];
      pen.setLineDash(mark.tone === "missing" ? [unit * 2, unit] : []);
      pen.beginPath();
      for (const [x, y] of mark.corners) pen.lineTo(x, y);
      pen.closePath();
      pen.stroke();
      const [x, y] = mark.corners[0];
      pen.font = `700 ${unit * 4}px B612, sans-serif`;
      pen.fillStyle = TONES[mark.tone];
      pen.fillRect(x - unit * 2.5, y - unit * 2.5, unit * 5, unit * 5);
      pen.fillStyle = mark.tone === "heat" ? "#ffffff" : "#12171c";
      pen.textAlign = "center";
      pen.textBaseline = "middle";
      pen.fillText(mark.sign, x, y);
    };
    const unread = body.unread.map((corners) => ({ corners, sign: "?", tone: "missing", name: "",
      word: say("photo.not_read"), say: say("photo.not_read_said") }));
    const marks = [...body.marks, ...unread];
    marks.forEach(outline);
    const small = document.createElement("canvas");
    small.id = "photo";
    const scale = Math.min(1, 1600 / canvas.width);
    small.width = Math.round(canvas.width * scale);
    small.height = Math.round(canvas.height * scale);
    small.getContext("2d").drawImage(canvas, 0, 0, small.width, small.height);
    small.setAttribute("role", "img");
    const counts = {};
    for (const mark of marks) counts[`${mark.sign} ${mark.word}`] = (counts[`${mark.sign} ${mark.word}`] ?? 0) + 1;
    const sums = Object.entries(counts).map(([word, many]) => el("p", "", `${many} × ${word}`));
    const wrong = marks.filter((mark) => mark.tone !== "done");
    put($("audit"), el("div", "column", "", el("h1", "", group.name), small,
      el("div", "said", "", ...(sums.length ? sums : [el("p", "", say("phone.nothing"))])),
      ...wrong.map((mark) => el("div", `row ${mark.tone}`, "", el("span", "sign", mark.sign),
        el("span", "name", mark.name || mark.word), el("span"), el("span", "note", mark.say))),
      key(say("phone.walk"), () => { walk.page = "walk"; walk.last = ""; lookAtAudit(); }, "key act")));
    $("view-audit").scrollTop = 0;
    const hot = marks.filter((mark) => mark.tone === "heat");
    for (const mark of hot) raise({ state: "hot", title: mark.name, why: mark.say, remedy: "" });
    if (!hot.length) play(wrong.length || !marks.length ? "refused" : "done");
  }

  // Going from view to view ---------------------------------------------------------------------------------

  function go(name, draw = true) {
    const before = view;
    view = name;
    sessionStorage.setItem("view", name);
    for (const each of document.querySelectorAll(".view")) each.hidden = each.id !== `view-${name}`;
    for (const each of document.querySelectorAll("#rail [data-go]")) {
      if (each.dataset.go === name) each.setAttribute("aria-current", "page");
      else each.removeAttribute("aria-current");
    }
    if (name !== "scan") stopEye();
    else if (!$("card").childElementCount) idle();
    if (!draw || !linked) return;
    if (name === "scan" && !alarmed) openEye();
    else if (name === "hot") drawBoard();
    else if (name === "find" && (before !== "find" || !$("found").childElementCount)) find();
    else if (name === "audit") {
      walk.last = "";
      if (walk.page !== "photo") lookAtAudit();
    } else if (name === "machine" && (before !== "machine" || !$("machine").childElementCount)) listMachines();
  }

  for (const each of document.querySelectorAll("[data-go]")) {
    each.addEventListener("click", () => {
      if (each.dataset.go === "machine") holder = { key: "", name: "" };
      if (each.dataset.go === "audit") walk.page = "walk";
      view = "";
      go(each.dataset.go);
    });
  }

  document.addEventListener("visibilitychange", () => {
    if (!paired) return;
    if (document.visibilityState === "hidden") stopEye();
    else if (performance.now() - heard > SILENT_MS) listen();
    else comeBack();
  });

  // A new code that is opened in the same page changes nothing but what stands behind the address.
  addEventListener("hashchange", () => {
    if (location.hash.length > 1) location.reload();
  });

  begin().catch((error) => {
    if (error instanceof Over) return;
    if (!paired) {
      gate(words["phone.no_link"] ? "phone.no_link" : "", "phone.no_link_remedy");
      setTimeout(() => location.reload(), 3000);
    }
  });
})();
