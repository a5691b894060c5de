// Asks for the code. It may have come with the link, behind "#", which a browser sends to nobody; it
// is taken off the address at once, so that it stays in no history.
const form = document.getElementById("pair");
const code = document.getElementById("code");
const name = document.getElementById("name");
const go = document.getElementById("go");
const told = document.getElementById("told");

function takeLink() {
  const found = /^#pair=(\d{6})$/.exec(location.hash);
  if (location.hash) history.replaceState(null, "", "/");
  if (found) code.value = `${found[1].slice(0, 3)} ${found[1].slice(3)}`;
  (found ? name : code).focus();
}

function say(line, wrong) {
  told.textContent = line;
  told.className = wrong ? "wrong" : "";
}

/** Nothing is looked at for so long: count down, then let the person try again. */
function wait(seconds, line) {
  go.disabled = seconds > 0;
  say(seconds > 0 ? `${line} (${seconds} s)` : line, true);
  if (seconds > 0) setTimeout(() => wait(seconds - 1, line), 1000);
}

async function pair() {
  go.disabled = true;
  say("…", false);
  try {
    const answer = await fetch("/api/lan/pair", {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify({ code: code.value, name: name.value }),
    });
    if (answer.ok || answer.status === 409) return location.reload();
    const why = await answer.json().catch(() => ({}));
    const line = why.error ? why.error[0].toUpperCase() + why.error.slice(1) + "." : `The bench answered ${answer.status}.`;
    code.select();
    wait(why.wait_s ?? Number(answer.headers.get("Retry-After") ?? 0), line);
  } catch {
    wait(0, "The bench does not answer. Is it still running?");
  }
}

form.addEventListener("submit", (event) => {
  event.preventDefault();
  if (!go.disabled) void pair();
});
addEventListener("hashchange", takeLink);
takeLink();
