// The settings and the text of a method from the answers of its author, as aggregator/edgehold/review/method_settings.py and method_text.py
// make them; what was not asked, and every sentence, is handed over by the program.

import { emptyOrUnknown, figuresOf, guardsOf, levelsOf, linesOf, needsOf, spaced } from "./method_lines.js";
import { nameOf } from "./review_file.js";
import { filled } from "./sentences.js";

const LEVEL = "level", PASS_FAIL = "pass/fail";

/** @typedef {import("./method_lines.js").Guard} Guard */
/** @typedef {{ said: Dictionary<string>, levels: Named[], needs: Named[], guards: Guard[] }} Told answers that can be used */

/**
 * What answers tell, and everything that is wrong with them.
 *
 * @param {Dictionary<string>} answers
 * @param {MethodRules} rules
 * @returns {{ told: Told, wrong: WrongAnswer[] }}
 */
export function told(answers, rules) {
  const comparesLevels = answers.compared === LEVEL, said = saidIn(answers, rules);
  const ofLevels = levelsOf(answers.levels ?? "", spaced(answers.fact ?? ""), rules);
  const ofNeeds = needsOf(answers.needs ?? "", rules), ofGuards = guardsOf(answers.threats ?? "", rules);
  const wrong = emptyOrUnknown(answers, rules), first = new Set(wrong.map(({ name }) => name));
  const more = [...(comparesLevels && !first.has("fact") ? ofLevels.wrong : []), ...ofNeeds.wrong, ...ofGuards.wrong, ...between(said, rules)];
  wrong.push(...more.filter(({ name }) => !first.has(name)));
  return { told: { said, levels: comparesLevels ? ofLevels.levels : [], needs: ofNeeds.needs, guards: ofGuards.guards }, wrong };
}

/**
 * The folder's name: as answered, else from the title.
 *
 * @param {Dictionary<string>} answers
 * @param {MethodRules} rules
 */
export function idOf(answers, { says }) {
  return spaced(answers.id ?? "") || nameOf(answers.title ?? "", says.unnamed);
}

/**
 * What two answers, or an answer and its form, say together.
 *
 * @param {Dictionary<string>} said
 * @param {MethodRules} rules
 * @returns {WrongAnswer[]}
 */
function between(said, { says, reserved, known, patterns }) {
  const wrong = (/** @type {string} */ name, /** @type {string} */ code, text = "") => ({ name, code, why: filled(says[code], { text }) });
  const points = figuresOf(said.checkpoints), { id } = said;
  const ascending = points && points.length > 2 && points[0] === 0 && points.every((point, n) => !n || point > points[n - 1]);
  const name = new RegExp(patterns.id, "u").test(id) ? [[reserved.includes(id), "id_reserved"], [known.includes(id), "id_taken"]].find(([is]) => is)?.[1] : "id_form";
  return [
    ...(ascending ? [] : [wrong("checkpoints", "checkpoints_form", said.checkpoints)]),
    ...(said.decides === "life" && !said.life_ends && said.reading_kind !== PASS_FAIL ? [wrong("life_ends", "life_unended")] : []),
    ...(said.by && !new RegExp(patterns.handle, "u").test(said.by) ? [wrong("by", "by_form", said.by)] : []),
    ...(name ? [wrong("id", String(name), id)] : []),
  ];
}

/**
 * Every answer, in one line but for those of several; the usual one where there is none.
 *
 * @param {Dictionary<string>} answers
 * @param {MethodRules} rules
 */
function saidIn(answers, rules) {
  const found = Object.fromEntries(rules.questions.map(({ name, kind, usual }) => [name, kind === "lines" ? answers[name] ?? "" : spaced(answers[name] ?? "") || usual]));
  found.treatment ||= answers.compared === LEVEL ? rules.says[`treatment_${found.fact.replaceAll(" ", "_")}`] ?? "" : "";
  found.id = idOf(answers, rules);
  return found;
}

/**
 * The settings, in the order of the model.
 *
 * @param {Told} given
 * @param {MethodRules} rules
 */
export function settings(given, rules) {
  const { said, levels, needs, guards } = given, { says } = rules, number = (/** @type {string} */ name) => Number(said[name]);
  const [kind, unit, accepted] = rules.work_units[said.counted], points = figuresOf(said.checkpoints) ?? [], [early, late] = earlyAndLate(points);
  return {
    format: rules.format,
    id: said.id,
    version: rules.version,
    title: said.title,
    question: { factor: said.compared, text: said.question, ...(levels.length ? { treatment: said.treatment, levels } : {}) },
    changes: says.changes,
    medium: { name: shortName(said.medium, rules), description: said.medium },
    work: { kind, unit, accepted_units: accepted, checkpoints: points, edge_stretch_mm: number("stretch"), stroke: said.stroke },
    reading: reading(said, rules),
    stopping: { text: stopping(said, rules), readings_below: 2 },
    endpoints: endpoints(said, early, late, rules),
    early_checkpoint: early,
    late_checkpoint: late,
    estimand: "total",
    design: {
      varies: [levels.length ? said.treatment : said.compared], holds: rules.held[said.compared], least_runs: number("runs"), order: said.order, blinding: said.blinding,
    },
    apex_start: says.apex_start,
    edges: "plain only",
    needs,
    minutes: { one_run: number("minutes"), whole: number("runs") * number("minutes") + rules.practice_minutes },
    people: { alone: said.alone, two: said.two },
    practice_run: says.practice_run,
    threats: [...usualThreats(guards, rules), ...withSteps(guards, rules).map(([{ kind: threat, text }, step]) => ({ threat, text, steps: step ? [step] : [] }))],
    cautions: linesOf(said.cautions).map(([, line]) => line),
  };
}

/** @type {(medium: string, rules: MethodRules) => string} */
function shortName(medium, { longest_label: longest }) {
  const words = spaced(medium.split(",")[0]).replace(/\.+$/u, "").split(" "), long = () => [...words.join(" ")].length > longest;
  while (words.length > 1 && long()) { words.pop(); }
  return [...words.join(" ")].slice(0, longest).join("");
}

/** @type {(points: number[]) => [early: number, late: number]} */
function earlyAndLate([, ...after]) {
  return after.length > 3 ? [after[1], after[after.length - 2]] : [after[0], after[after.length - 1]];
}

/** @type {(said: Dictionary<string>, rules: MethodRules) => Named} */
function reading(said, rules) {
  const [kind, unit, accepted, keener] = rules.readings[said.reading_kind];
  const figures = unit ? { canonical_unit: unit, accepted_units: accepted, keener } : {};
  return { kind, description: said.reading, ...figures, repeats: Number(said.repeats), dulls: said.dulls === "yes" };
}

/** @type {(said: Dictionary<string>, rules: MethodRules) => string} */
function stopping(said, { says }) {
  if (said.reading_kind === PASS_FAIL) { return says.stopping_fails; }
  return said.life_ends ? says.stopping_life : says.stopping_last;
}

/** @type {(said: Dictionary<string>, early: number, late: number, rules: MethodRules) => Named[]} */
function endpoints(said, early, late, { says, prior_df }) {
  const fails = said.reading_kind === PASS_FAIL;
  const weighed = { worthwhile_ratio: Number(said.worthwhile), assumed_repeatability: { ln_sd: Number(said.spread), prior_df, source: says.source } };
  /** @type {(role: string, at: number) => Named} */
  const level = (role, at) => ({ id: role, title: says[`endpoint_${role}`], kind: "level", role, primary: said.decides === role, at, ...weighed });
  const life = {
    id: "life", title: fails ? says.endpoint_life_fails : says.endpoint_life, kind: "life", role: "overall", primary: fails || said.decides === "life",
    ...(fails ? {} : { threshold: { value: Number(said.life_ends), relative: false } }), fit_from: fails ? "zero" : "first positive checkpoint", ...weighed,
  };
  return [...(fails ? [] : [level("early", early), level("late", late)]), ...(fails || said.life_ends ? [life] : [])];
}

/** @type {(guards: Guard[], rules: MethodRules) => Named[]} */
function usualThreats(guards, { says, usual_threats: usual }) {
  const named = new Set(guards.map(({ kind }) => kind));
  return Object.entries(usual).filter(([kind]) => !named.has(kind)).map(([kind, steps]) => ({ threat: kind, text: says[`threat_${kind.replaceAll("-", "_")}`], steps }));
}

/** @type {(guards: Guard[], rules: MethodRules) => [guard: Guard, step: string][]} */
function withSteps(guards, { first_own_step: first }) {
  let number = first;
  return guards.map((guard) => {
    if (!guard.met) { return [guard, ""]; }
    number += 1;
    return [guard, `s${number - 1}-${guard.kind}`];
  });
}

/**
 * The text, block by block.
 *
 * @param {Told} given
 * @param {MethodRules} rules
 */
export function textOf(given, rules) {
  const { said, levels, guards } = given, { says } = rules;
  /** @type {Dictionary<Dictionary<string>[]>} */
  const lists = {
    set_up: linesOf(said.set_up).map(([, line]) => ({ line })),
    cautions: linesOf(said.cautions).map(([, line]) => ({ line })),
    levels: levels.map(() => ({})),
    guards: withSteps(guards, rules).filter(([, step]) => step).map(([{ kind, met }, step]) => ({ step, kind, met, about: rules.own_steps.includes(kind) ? kind : "other" })),
  };
  const whole = Object.fromEntries(["question", "medium", "reading", "stroke", "order", "blinding", "alone"].map((name) => [name, sentence(said[name])]));
  const tables = Object.fromEntries(rules.tables.map((name) => [`${name}_table`, `{table: ${name}}`]));
  const values = { ...said, ...tables, stopping: stopping(said, rules), ...whole, checkpoints: `${(figuresOf(said.checkpoints) ?? []).slice(1).join(", ")} ${said.counted}` };
  return rules.blocks.flatMap(([name, needs, each]) => {
    if (each) {
      const entries = lists[each].map((entry) => filled(says[`body_${filled(name, entry)}`], entry));
      return entries.length ? [entries.join(each === "guards" ? "\n\n" : "\n")] : [];
    }
    return !needs || lists[needs].length ? [filled(says[`body_${filled(name, values)}`], values)] : [];
  }).join("\n\n");
}

/** @type {(text: string) => string} */
const sentence = (text) => (/[.!?]$/u.test(text) ? text : `${text}.`);

