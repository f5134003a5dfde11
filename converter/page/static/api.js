// All talk with the program on this computer. Nothing else is ever asked.

let token = "";
export let session = null;

export class Refused extends Error {
  constructor(status, body) {
    super([body.message, body.hint].filter(Boolean).join(" ") || "The program did not answer.");
    this.status = status;
    this.code = body.error || "";
    this.body = body;
  }
}

export async function begin() {
  const answer = await fetch("/api/session", { cache: "no-store" });
  if (!answer.ok) throw new Refused(answer.status, await bodyOf(answer));
  session = await answer.json();
  token = session.token;
  return session;
}

async function bodyOf(answer) {
  try {
    return await answer.json();
  } catch {
    return {};
  }
}

export async function get(path) {
  const answer = await reach(path, { cache: "no-store" });
  if (!answer.ok) throw new Refused(answer.status, await bodyOf(answer));
  return answer.json();
}

export async function send(path, body = {}, { method = "POST", raw = null, headers = {} } = {}) {
  for (let turn = 0; ; turn += 1) {
    const answer = await reach(path, {
      method,
      cache: "no-store",
      headers: { "X-Onecolour-Token": token, "Content-Type": raw ? "application/octet-stream" : "application/json", ...headers },
      body: raw ?? JSON.stringify(body),
    });
    if (answer.ok) return answer.json();
    const refused = new Refused(answer.status, await bodyOf(answer));
    // The program was started again meanwhile: take its new token and go on.
    if (refused.code === "token" && turn === 0) {
      await begin();
      continue;
    }
    throw refused;
  }
}

async function reach(path, options) {
  try {
    return await fetch(path, options);
  } catch {
    throw new Refused(0, {
      error: "gone",
      message: "The program on this computer does not answer.",
      hint: "Start it again with “onecolour page”; what was saved is kept.",
    });
  }
}
