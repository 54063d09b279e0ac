// Reads an archive's document with the automerge package from npm, and compares every record with
// job.json. Usage: NPM_FOLDER=... node document.mjs DATA
import { createRequire } from "node:module";
import { readFileSync } from "node:fs";
import { join } from "node:path";

const require = createRequire(join(process.env.NPM_FOLDER, "any.js"));
const Automerge = require("@automerge/automerge");
const data = process.argv[2];
const doc = Automerge.toJS(Automerge.load(readFileSync(join(data, "job.automerge"))));
const { records } = JSON.parse(readFileSync(join(data, "job.json"), "utf8"));
const faults = [];
let compared = 0;

// Texts that are never edited letter by letter come as objects of their own.
function plain(value) {
  if (value === null || typeof value !== "object") return value;
  if (Automerge.isImmutableString?.(value) || value.constructor?.name === "ImmutableString") {
    return value.toString();
  }
  if (Array.isArray(value)) return value.map(plain);
  return Object.fromEntries(Object.entries(value).map(([key, inner]) => [key, plain(inner)]));
}

function same(a, b, at) {
  if (a !== null && b !== null && typeof a === "object" && typeof b === "object") {
    const keys = new Set([...Object.keys(a), ...Object.keys(b)]);
    for (const key of keys) same(a[key], b[key], `${at}/${key}`);
  } else {
    compared += 1;
    // What is not there and what is null say the same.
    if ((a ?? null) !== (b ?? null)) faults.push(`${at}: ${a} in the document, ${b} in job.json`);
  }
}

const content = plain(doc);
same(content.job, records.id, "/job");
// Fields that job.json adds to a record, and a default that it spells out.
const derived = ["id", "withdrawn", "replaced_by"];
const maps = Object.keys(content).filter((key) => typeof content[key] === "object");
for (const map of maps) {
  if (["about", "withdrawals", "devices"].includes(map)) continue;
  const told = new Map((records[map] ?? []).map((record) => [record.id, record]));
  same(Object.keys(content[map]).length, told.size, `/${map}`);
  for (const [id, record] of Object.entries(content[map])) {
    const fields = Object.entries(told.get(id) ?? {}).filter(([key]) => !derived.includes(key));
    same(record, Object.fromEntries(fields), `/${map}/${id}`);
  }
}
for (const withdrawal of Object.values(content.withdrawals)) {
  const all = Object.values(records).filter(Array.isArray).flat();
  const record = all.find((one) => one.id === withdrawal.target);
  same(withdrawal.reason, record?.withdrawn?.reason, `/withdrawals/${withdrawal.target}`);
}
for (const [key, device] of Object.entries(content.devices)) {
  same(device.name, records.devices[key], `/devices/${key}`);
}
for (const key of ["name", "vehicle", "zone"]) {
  same(content.about[key]?.value, records[key].value, `/about/${key}`);
}
console.log(`${compared} values compared`);
for (const fault of faults.slice(0, 20)) console.log(fault);
process.exit(faults.length === 0 && compared > 100 ? 0 : 1);
