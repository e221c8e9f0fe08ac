// SPDX-License-Identifier: ISC
// A till on a client that is generated from the document: usage: till URL KEY CUP_TYPE. It lends two cups, posts that again as
// after a time-out, takes one back, is refused an unknown cup type, reads its list page by page, and asks for proofs.
import createClient from "openapi-fetch";
import type { components, paths } from "./schema.js";

type Event = components["schemas"]["Event"];
declare const process: { argv: string[] };

const [, , baseUrl = "", key = "", cupType = ""] = process.argv;
const api = createClient<paths>({ baseUrl, headers: { Authorization: `Bearer ${key}` } });
const log = (step: string, value: object) => console.log(JSON.stringify({ step, ...value }));
const seconds = (count: number) => new Promise((wake) => setTimeout(wake, 1000 * count));

/** The outcome of one event, or why it is refused. Posting again is always safe, so what may be retried is. */
async function post(event: Event) {
  for (let attempts = 1; ; attempts++) {
    const { data, error, response } = await api.POST("/v1/events", { body: event });
    if (error?.retryable && attempts < 5) await seconds(Number(response.headers.get("Retry-After") ?? "1"));
    else if (error) return error;
    else if (typeof data === "object" && "entry" in data) return data;
    else throw new Error("one event was posted, and several are answered");
  }
}

const { data: me, error: denied } = await api.GET("/v1/me");
if (!me) throw new Error(denied.detail);
const [site] = me.sites;
const value = site?.refund_values.find((row) => row.cup_type === cupType);
if (!site || !value) throw new Error(`no site, or no refund value of ${cupType}`);
log("me", { name: me.name, site: site.site, amount: value.amount });

const common = () => ({ event_id: crypto.randomUUID(), site: site.site, occurred_at: new Date().toISOString() });
const issue: Event = { ...common(), kind: "issue", issued: [{ cup_type: cupType, quantity: 2 }], tender: "card" };
log("issue", await post(issue));
log("replay", await post(issue));
log("return", await post({ ...common(), kind: "return", returned: [{ cup_type: cupType, quantity: 1, condition: "sound" }] }));

const refusal = await post({ ...common(), kind: "issue", issued: [{ cup_type: "cup-none", quantity: 1 }] });
if (!("reason" in refusal)) throw new Error("a cup type that is not there was taken");
switch (refusal.reason) {
  case "cup_type_unknown":
    log("refused", { reason: refusal.reason, at: refusal.errors?.map((fault) => ("pointer" in fault ? fault.pointer : "")) });
    break;
  default:
    throw new Error(refusal.detail);
}

for (let cursor: string | undefined, page = 1; ; page++) {
  const { data: list, error } = await api.GET("/v1/events", { params: { query: { site: site.site, limit: 2, ...(cursor && { cursor }) } } });
  if (!list) throw new Error(error.detail);
  for (const line of list.items) {
    if (!("event" in line) || !line.event) continue;
    const { data: proof, error: no } = await api.GET("/v1/events/{event_id}/proof", { params: { path: { event_id: line.event.event_id } } });
    log("listed", { page, entry: line.entry, kind: line.event.kind, root: proof?.root, unproven: no?.reason });
  }
  cursor = list.next;
  if (!cursor || list.items.length === 0) break;
}
