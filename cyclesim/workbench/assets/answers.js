// @ts-check
// What the programme does, beside the strip: oldest water per leg against its limit, turnovers, noise, money, findings.

import { html, useEffect } from "./vendor/preact.js";
import { number, tenths } from "./numbers.js";
import { answers, kept, plant, tell } from "./state.js";
import { address } from "./views.js";

const SPANS = { fortnight: "14 days", year: "a year" };
const DATE = new Intl.DateTimeFormat("en-GB", { dateStyle: "medium", timeZone: "UTC" });

/** The best answer there is: of the file as it is now, the longest; else the last one, told as old. */
export function best() {
  const { version } = plant.value, all = answers.value;
  const now = ["year", "fortnight"].find((what) => all[what]?.result && all[what].of === version);
  const what = now || ["fortnight", "year"].find((one) => all[one]?.result);
  return what ? { what, old: !now, ...all[what] } : null;
}

/** @param {any} result */
const first = (result) => result.about.first_day;

/** What was kept of the same days, to compare with. @param {any} answer */
function before(answer) {
  const was = kept.value?.results[answer.what];
  return was && kept.value.version !== answer.of && first(was) === first(answer.result) ? was.values : null;
}

/** @param {any} values */
const findingsOf = (values) => values.findings.map((f) => ({ ...f, id: `${f.rule} ${f.subject} ${f.cause}` }));

/** The element that a finding or a row is about: a speed, a jet or a state follows its name. @param {string} subject */
const elementOf = (subject) => subject.split(/, | /)[0];

/** What has just become known, for who does not look there. @param {any} answer @param {any} was */
const summary = ({ what, result: { values } }, was) => [
  `Of ${SPANS[what]}: oldest water ${tenths(values.promises.oldest_water_h)} h`,
  was ? `(was ${tenths(was.promises.oldest_water_h)} h)` : "", `in ${values.promises.oldest_water_in};`,
  values.findings.length === 1 ? "1 finding" : `${values.findings.length} findings`,
  was ? `(were ${was.findings.length}).` : "."].filter(Boolean).join(" ").replace(" .", ".");

function Bar({ name, value, was, limit, most }) {
  const at = (hours) => Math.min(100, (100 * hours) / most);
  const over = value > limit, band = over ? "over" : value > limit / 2 ? "older" : null; // as the drawing has it
  return html`<tr><th scope="row"><a href=${address(plant.value.name, "plant", elementOf(name))}>${name}</a></th>
    <td class="n">${over ? html`<strong>${tenths(value)} h, over</strong>` : `${tenths(value)} h`}</td>
    <td class="n ghost">${was === undefined ? "" : `was ${tenths(was)} h`}</td>
    <td class="chart"><svg viewBox="0 0 100 10" preserveAspectRatio="none" aria-hidden="true">
      <rect class=${band} width=${at(value)} height="10"/>
      ${was !== undefined && html`<path class="was" d=${`M${at(was)} 0V10`}/>`}
      <path class="limit" d=${`M${at(limit)} 0V10`}/></svg></td></tr>`;
}

/** Those that differ in their subject alone, together. @param {any[]} findings @param {(f: any) => string} tagOf */
const alike = (findings, tagOf) => {
  const groups = new Map();
  for (const f of findings) {
    const said = [tagOf(f), f.rule, f.cause, f.mend].join("\n");
    groups.set(said, [...(groups.get(said) || []), f]);
  }
  return [...groups.values()].map((group) => ({ group, tag: tagOf(group[0]) }));
};

/** How often, and the worst of it. @param {any} f */
const howBad = (f) => `${f.times === 1 ? "once" : `${number(f.times)} times`}${f.worst_text ? `, worst ${f.worst_text}` : ""}`;

function Finding({ group, tag }) {
  const [finding] = group, bad = [...new Set(group.map(howBad))];
  return html`<li class=${finding.severity}>${tag && html`<strong>${tag}: </strong>`}
    ${group.map((f, k) => html`${k > 0 && (k < group.length - 1 ? ", " : " and ")}<a
      href=${address(plant.value.name, "plant", elementOf(f.subject))}>${f.subject}</a>`)}: ${finding.cause}
    <span class="note"> ${finding.severity}, ${finding.rule}; ${bad.length === 1 ? `${bad[0]}${group.length > 1 ? " each" : ""}`
      : group.map((f) => `${f.subject} ${howBad(f)}`).join("; ")}</span>${finding.mend && tag !== "gone" && html`<br/>Mend, not tried: ${finding.mend}
      ${" "}<a href=${address(plant.value.name, "year")}>when it happens, and what mends it</a>`}</li>`;
}

export function Answers() {
  const answer = best();
  const failed = Object.values(answers.value).find((a) => a.state === "failed");
  const was = answer && before(answer);
  useEffect(() => { if (answer && !answer.old) tell(summary(answer, was)); }, [answer?.result]);
  if (!answer) return html`<p class="note">${failed?.problem || "The first answer is being worked out."}</p>`;
  const { values } = answer.result, limit = values.promises.water_age_limit_h;
  const legs = Object.entries(values.legs).filter(([, leg]) => typeof leg.oldest_water_h === "number")
    .sort(([, a], [, b]) => b.oldest_water_h - a.oldest_water_h);
  const most = Math.max(1.2 * limit, Math.min(4 * limit, ...[legs[0]?.[1].oldest_water_h ?? 0]));
  const now = findingsOf(values), then = was ? findingsOf(was) : null;
  const came = then && now.filter((f) => !then.some((g) => g.id === f.id));
  const gone = then ? then.filter((f) => !now.some((g) => g.id === f.id)) : [];
  const beside = (of) => was ? html`<td class="n ghost">was ${of(was)}</td>` : html`<td></td>`;
  const money = (v) => `${v.energy.currency} ${number(v.energy.cost)}`;
  const turns = (v) => `${number(v.tub.turnovers_per_day)} a day`;
  const loud = (v) => `${number(60 * v.promises.loud_in_quiet_hours_h)} min`;
  const faulty = plant.value.problems.length > 0;
  return html`<div class=${answer.old ? "answers stale" : "answers"}>
    <p class="note">${answer.old ? faulty ? "As it was when the file could last be run: "
      : "As it was before the last change: " : ""}Of ${SPANS[answer.what]} from ${DATE.format(new Date(first(answer.result)))}.</p>
    <p class=${`verdict ${answer.old && faulty ? "old" : answer.result.answer.tone}`}>${answer.result.answer.verdict}</p>
    <table class="bars"><caption>Oldest water, by leg; the line is the limit of ${tenths(limit)} h, brown
      is more than half of it</caption><tbody>
      ${legs.map(([name, leg]) => html`<${Bar} key=${name} name=${name} value=${leg.oldest_water_h}
        was=${was?.legs[name]?.oldest_water_h} limit=${limit} most=${most}/>`)}</tbody></table>
    <table class="list"><tbody>
      <tr><th scope="row">Turnovers</th><td class="n">${turns(values)}</td>${beside(turns)}</tr>
      <tr><th scope="row">Loud in quiet hours</th><td class="n">${loud(values)}</td>${beside(loud)}</tr>
      <tr><th scope="row">Cost of energy for ${SPANS[answer.what]}</th><td class="n">${money(values)}</td>${beside(money)}</tr>
    </tbody></table>
    <h3>Findings in ${SPANS[answer.what]}</h3>
    ${now.length || gone.length ? html`<ul class="findings">
      ${[...alike(gone, () => "gone"), ...alike(now, (f) => came?.includes(f) ? "new" : "")].map(({ group, tag }) => html`<${Finding}
        key=${`${tag} ${group[0].id}`} group=${group} tag=${tag}/>`)}</ul>`
      : html`<p>No rule is broken in this run.</p>`}</div>`;
}
