// What the scripts of the form pass to each other and are handed by the program, for the checker alone: nothing of this is published.
// What is read from a file may be anything, so that every field of a draft may be missing; rules.js and schema.js check it.

type Dictionary<T> = Record<string, T>;

/** A number as it is kept: a number, or the text that somebody wrote. */
type Written = string | number | null | undefined;

// -- what the program hands over (aggregator/edgehold/forms)

/** A JSON Schema, as far as schema.js understands it. */
interface SchemaNode {
  $ref?: string;
  $defs?: Dictionary<SchemaNode>;
  anyOf?: SchemaNode[];
  oneOf?: SchemaNode[];
  const?: unknown;
  enum?: string[];
  type?: string;
  description?: string;
  properties?: Dictionary<SchemaNode>;
  required?: string[];
  additionalProperties?: boolean;
  patternProperties?: Dictionary<SchemaNode>;
  items?: SchemaNode;
  minItems?: number;
  maxItems?: number;
  minLength?: number;
  maxLength?: number;
  pattern?: string;
  minimum?: number;
  maximum?: number;
  exclusiveMinimum?: number;
  exclusiveMaximum?: number;
}

/** A schema with references followed; several `options` where more than one remains; `text` is what stands where it is used. */
interface DescribedNode extends SchemaNode {
  options?: DescribedNode[];
  text?: string;
}

interface Unit {
  id: string;
  kind: string;
  factor: string;
  offset: string;
  symbols: string[];
  names: string[];
}

/** How written numbers are read. */
interface Grammar {
  longest: number;
  largest: string;
  alike: Dictionary<string>;
  glyphs: Dictionary<string>;
  marks: [mark: string, unit: string][];
  cures: [pattern: string, cure: string][];
  patterns: Record<"decimal" | "grouped" | "ambiguous" | "fraction" | "sign" | "parentheses" | "plus_minus", string>;
  says: Dictionary<string>;
}

interface UnitRules {
  units: Unit[];
  numbers: Grammar;
}

interface ReadingRule {
  kind: string;
  canonical_unit: string;
  accepted_units: string[];
  keener: string;
  repeats: number;
  resolution: number | null;
  scale_end: number | null;
}

interface WorkRule {
  unit: string;
  accepted_units: string[];
  checkpoints: number[];
}

/** An endpoint; which of the numbers there are hangs on its kind: a level, a window, a loss or a life. */
interface EndpointRule {
  id: string;
  title: string;
  role: string;
  kind: string;
  primary: boolean;
  worthwhile_ratio: number;
  at: number;
  start: number;
  end: number;
  threshold: { value: number; relative: boolean };
  fit_from: string;
}

interface Protocol {
  id: string;
  version: string;
  title: string;
  medium: { name: string };
  estimand: string;
  work: WorkRule;
  reading: ReadingRule;
  endpoints: EndpointRule[];
  design: { side_by_side?: string | null };
  question?: { factor?: string; levels?: RuleEntry["levels"] };
}

interface RepeatabilityEntry {
  df_pooled: number;
  prior_s2: number;
  prior_df: number | null;
  source: string;
}

/** Every pattern that an answer is told in. */
interface Sentences {
  own_answer: Dictionary<string>;
  plurals: Dictionary<string>;
  least_times: number;
  endpoints: Dictionary<string>;
  flags: Dictionary<string>;
  factors: Dictionary<string>;
  contrasts: Dictionary<string>;
  methods: Dictionary<string>;
}

/** A pattern of the catalogue; of three entries where a number decides the form of a noun. */
type Pattern = string | { count: string; one: string; other: string };

/** How long a card may be and how its lines are cut (aggregator/edgehold/cards). */
interface CardFigures {
  longest: number;
  shortest: number;
  cut: string;
  hash: number;
  most_told: number;
  most_percent: number;
}

interface CardRules {
  figures: CardFigures;
  says: Dictionary<Pattern>;
}

/** What bars stand on: reaches, marks by reach, and the measures of a drawing. */
interface RatioScale {
  reaches: number[];
  ticks: Dictionary<[ratio: number, words: string][]>;
  width: number;
  margin: number;
  top: number;
  middle: number;
  floor: number;
  height: number;
}

/** Limits of every steel, and what lies outside them (aggregator/edgehold/records/steel_search.py). */
interface CompositionRules {
  balance: string;
  residual: Dictionary<number>;
  other: number;
  untold: string[];
  weights: Dictionary<number>;
  steels: { id: string; name: string; origin: string; named: boolean; limits: Dictionary<[low: number, high: number]> }[];
}

interface AnswerRules extends UnitRules {
  protocol: Protocol;
  repeatability: { reading_variance: number | null; endpoints: Dictionary<RepeatabilityEntry> };
  folded: string;
  grits: { letters: Dictionary<string>; sizes: Dictionary<Dictionary<number>> };
  steels: Dictionary<string>;
  compositions: CompositionRules;
  sentences: Sentences;
  report: Dictionary<Pattern>;
  card: CardRules;
  ask?: string;
  scale: RatioScale;
}

/** To what a rule is bound: another place holds a word or nothing, or a month before or after one. */
interface Condition {
  at: string;
  is?: unknown;
  before?: string;
  after?: string;
}

/** Where an amount of work stands, and what it may be. */
interface WorkPlace {
  unit: string;
  goal: string;
  checkpoints: number[];
  even: number;
  plural: string;
}

/** What rules of sense hold readings against; logarithms are natural (aggregator/edgehold/records/rules/table.py). */
interface SenseRules {
  keener: string;
  units: string[];
  low: number;
  high: number;
  spread: number;
  least: number;
  enough: number;
  d2: number[];
  far: { least: number; times: number; near: number };
  sharper: { least: number; times: number };
  row: { rise: number; slack: number; out: number };
  copied: { values: number; distinct: number; part: number };
  fine: number;
  enough_values: number;
  share: number;
  off: number;
  even: number;
}

/** A row of the flat table of rules (aggregator/edgehold/records/rules/table.py); a kind of rule reads what that kind has. */
interface RuleEntry {
  rule: string;
  at: string;
  code: string;
  step?: number;
  shared?: string[];
  same?: boolean;
  beside?: string[];
  when?: Condition | Condition[];
  unless?: Dictionary<number>;
  cure?: string;
  among: string;
  words: string[];
  names: string[];
  months: number;
  month: string;
  pattern: string;
  limit?: number;
  limits: Dictionary<number>;
  by: string;
  kinds?: string[];
  units?: string[];
  unit: string;
  goal: string | null;
  written: string;
  within: number;
  least?: number;
  work: WorkPlace;
  wanted: number;
  resolution: number | null;
  scale_end: number | null;
  even: number;
  low?: number | null;
  high?: number | null;
  origin: string;
  system: string;
  grit: string;
  factor: number;
  is: string;
  keener: string | null;
  near: number;
  sense: SenseRules;
  levels: { word: string; rule: { fact: string; at_least: number | null; below: number | null; words: string[]; other_than: string[] } | null }[];
}

/** What the form writes by itself. */
interface FilledEntry {
  at: string;
  with: string;
  text: string;
  of: string | string[];
  value: unknown;
}

interface Section {
  title: string;
  at: string[];
  entry?: string;
  folded?: boolean;
}

/** How lists that are shown as one hang together: each run with its preparation. */
interface Joined {
  list: string;
  key: string;
  with: string;
  by: string;
}

interface GridRule {
  at: string;
  cells: "values" | "outcomes";
  repeats: number;
  checkpoints: number[];
  /** Readings beside those of runs that are shown as tables too. */
  beside: { at: string; checkpoints: number[] };
}

interface Layout {
  fixed: Dictionary<string>;
  filled: FilledEntry[];
  choices: Dictionary<string[]>;
  like: Dictionary<string>;
  grid?: GridRule;
}

interface SubmissionLayout extends Layout {
  hidden: string[];
  absent: string[];
  joined: Joined;
  grid: GridRule;
  sections: Section[];
}

interface Message {
  severity: string;
  meaning: string;
  cure: string;
}

interface CodedPattern {
  code: string;
  pattern: string;
}

/** What the page of every form needs to send a file in. */
interface SendingRules {
  repository_url: string | null;
  sending: Dictionary<string>;
  limits: { link: number };
}

/** How a block of letters is written and read (aggregator/edgehold/records/read/letters.py), and what is said of a damaged one. */
interface LetterRules {
  version: number;
  alphabet: string;
  line: number;
  bytes: number;
  patterns: Record<"begin" | "end" | "named" | "entity" | "other" | "strange", string>;
  says: Dictionary<string>;
}

/** What all forms of fields have. */
interface FormRules extends SendingRules {
  schema: SchemaNode;
  cures: Dictionary<string>;
  table: RuleEntry[];
  layout: Layout;
  messages: Dictionary<Message>;
  hints: { at: string; pattern: string; text: string }[];
  characters: CodedPattern[];
  limits: { link: number; bytes: number };
}

/** What the kinds of rules about runs need besides. */
interface RegisterRules extends UnitRules {
  asks: Dictionary<string>;
  folded: string;
  steel_origins: Dictionary<string>;
  compositions: CompositionRules;
  grits: { letters: Dictionary<string>; sizes: Dictionary<Dictionary<number>> };
}

/** A line of a sheet (aggregator/edgehold/sheets/lines.py). */
interface SheetLine {
  at: string;
  kind: string;
  words: string[];
  drawn: boolean;
  mark: string;
}

interface SheetRules {
  marker: string;
  remark: string;
  work: string;
  note: string;
  letter: string;
  head: Dictionary<SheetLine>;
  tables: Dictionary<Dictionary<SheetLine>>;
  entries: Dictionary<Named>;
  lines: Dictionary<SheetLine>;
  outcomes: Dictionary<string>;
  work_unit: string;
  names: Dictionary<string>;
  listed: Dictionary<[list: string, place: string, use: string][]>;
  begins: Named;
  limit_signs: Dictionary<string>;
  separators: Dictionary<string>;
  encodings: [signs: number[], name: string, encoding: string][];
  patterns: Record<"plain" | "decimal" | "limit" | "label" | "repeat" | "run" | "version" | "digit" | "separator_line" | "first_cell", string>;
  limits: { bytes: number; rows: number; columns: number; cell: number; looked_at: number };
  says: Dictionary<string>;
}

/** The rules of a submission's form. */
interface SubmissionRules extends FormRules, RegisterRules, AnswerRules {
  layout: SubmissionLayout;
  limits: { link: number; bytes: number; depth: number; containers: number };
  sheet: SheetRules;
  letters: LetterRules;
  designations: string[];
  example: { people: unknown[]; blades: unknown[]; runs: unknown[] };
}

interface TargetVersion {
  version: string;
  status: string;
  steps: [step: string, title: string][];
  endpoints: [id: string, title: string][];
  table: RuleEntry[];
}

/** A protocol, or the analysis, as something to object to. */
interface Target {
  title: string;
  next: number;
  table: RuleEntry[];
  repeatable: [number: number, title: string][];
  versions: TargetVersion[];
}

/** An objection as something to answer or to decide. */
interface Thread {
  protocol: string;
  number: number;
  title: string;
  state: string;
  against: string[];
  folder: string;
  next: number;
  versions: string[];
  table: RuleEntry[];
}

/** The rules of a form about objections: targets where one is raised, threads where one is answered or decided. */
interface ReviewRules extends FormRules {
  kind: "objection" | "response" | "outcome";
  body: { label: string; text: string; matches: CodedPattern[] };
  probes: [id: string, question: string][];
  targets: Dictionary<Target>;
  threads: Thread[];
  said?: { protocol: string; number: number; title: string; statement: string; state: string; why: string; at: string }[];
}

/** A version's text to begin a draft of a protocol with, or the skeleton, which has no status. */
interface ProtocolSource {
  id: string;
  version: string;
  title: string;
  status: string;
  text: string;
}

/** One thing that the author of a method is asked (aggregator/edgehold/review/questions.py). */
interface MethodQuestion {
  name: string;
  part: string;
  kind: "line" | "sentence" | "lines" | "number" | "choice";
  needed: boolean;
  levels: boolean;
  choices: [word: string, told: string][];
  usual: string;
  label: string;
  help: string;
  example: string;
}

/** By which fact a run is of a level. */
interface MethodLevelRule {
  fact: string;
  at_least?: number;
  below?: number;
  words?: string[];
  other_than?: string[];
}

/** What an answer to a question has wrong with it. */
interface WrongAnswer {
  name: string;
  code: string;
  why: string;
}

/** A file by its place in the repository. */
interface WrittenFile {
  path: string;
  text: string;
}

/** How answers become a method (aggregator/edgehold/forms/method.py). */
interface MethodRules {
  questions: MethodQuestion[];
  parts: [part: string, title: string][];
  says: Dictionary<string>;
  schema: SchemaNode;
  patterns: { handle: string; id: string };
  reserved: string[];
  known: string[];
  format: string;
  event_format: string;
  version: string;
  practice_minutes: number;
  longest_label: number;
  longest_line: number;
  prior_df: number;
  work_units: Dictionary<[kind: string, unit: string, accepted: string[]]>;
  readings: Dictionary<[kind: string, unit: string | null, accepted: string[], keener: string | null]>;
  held: Dictionary<string[]>;
  usual_threats: Dictionary<string[]>;
  first_own_step: number;
  own_steps: string[];
  blocks: [name: string, needs: string, each: string][];
  tables: string[];
  numbers: string[];
  places: string[];
  whole: string[];
  written: string;
}

/** What a method does about one kind of threat; addresses are empty where there is no page. */
interface HandledThreats {
  threats: { text: string; steps: [id: string, address: string][] }[];
  standing: [number: number, address: string, blocking: boolean][];
}

/** A method as a column of the tables of two. */
interface OwnMethod {
  id: string;
  version: string;
  title: string;
  at: string;
  settings: string[];
  threats: Dictionary<HandledThreats>;
}

/** What holds a file of one's own against published methods (aggregator/edgehold/pages/own_method.py). */
interface OwnMethodRules {
  schema: SchemaNode;
  cures: Dictionary<string>;
  messages: Dictionary<Message>;
  bytes: number;
  units: Dictionary<string>;
  threats: string[];
  heads: string[];
  methods: OwnMethod[];
  says: Dictionary<string>;
  names: string;
}

interface ProtocolRules extends SendingRules {
  method: MethodRules;
  schema: SchemaNode;
  cures: Dictionary<string>;
  reserved: string[];
  known: Dictionary<string[]>;
  sources: ProtocolSource[];
  messages: Dictionary<Message>;
  characters: CodedPattern[];
  limits: { link: number; bytes: number };
}

// -- drafts and records

/** A list's entry, or a part of a record, of which one knows no more than that it has names. */
type Named = Dictionary<unknown>;

interface RepeatDraft {
  written?: Written;
  limit?: string;
}

/** A row of readings; `auto` while only the form has written in it. */
interface RowDraft {
  work?: Written;
  values?: RepeatDraft[];
  outcomes?: string[];
  note?: string;
  auto?: boolean;
}

interface RunDraft {
  [name: string]: unknown;
  id?: string;
  order?: number;
  preparation?: string;
  work_unit?: string;
  reading_unit?: string;
  readings?: RowDraft[];
}

interface PreparationDraft {
  [name: string]: unknown;
  id?: string;
  blade?: string;
  sharpener?: string;
}

interface AnswerToWarning {
  pointer: string;
  code: string;
  says: string;
}

/** A submission as it is typed, or as the file that it becomes. */
interface SubmissionDraft {
  [name: string]: unknown;
  id?: string;
  origin?: string;
  month?: string;
  plan?: unknown;
  protocol?: { id: string; version: string };
  people?: Named[];
  blades?: Named[];
  preparations?: PreparationDraft[];
  runs?: RunDraft[];
  references?: RunDraft[];
  answers?: AnswerToWarning[];
}

/** What is opened: a file, or what was pasted. */
interface Brought {
  name: string;
  bytes: Uint8Array;
}

/** An objection, a response or an outcome as it is typed. */
interface ReviewDraft {
  [name: string]: unknown;
  against?: { protocol?: string; version?: string; step?: string };
  analysis?: string;
  duplicate_of?: number | string;
  protocol?: string;
  number?: string | number;
  title?: string;
  response?: string;
  revised_in?: string;
  evidence?: Dictionary<string>[];
  text?: string;
}

/** A draft as the browser keeps it: `auto` holds what the form wrote by itself, by place. */
interface Kept<D = Named> {
  format: number;
  name: string;
  saved: string;
  signs: string;
  auto: Named;
  draft: D;
  dirty?: boolean;
}

interface Month {
  year: number;
  month: number;
}

// -- findings and the page

/** Something found at a place of a record; cure is empty where the code's own says it all. */
interface Finding {
  pointer: string;
  code: string;
  cure: string;
  asks?: string;
}

/** A finding with its place in the draft; `body`: it is in the text below the record. */
interface PlacedFinding extends Finding {
  from: string;
  grave: boolean;
  body?: boolean;
}

/** What is said at a spot; `asks`: a question that names its place by itself. */
interface Saying {
  text: string;
  grave: boolean;
  asks?: string;
}

/** Where findings about a place are shown. */
interface Spot {
  place: string;
  readonly name: string;
  focus(): void;
  say(found: Saying[]): void;
}

interface ShownFinding extends PlacedFinding {
  spot: Spot;
  text: string;
}

/** A form on a page: its rules, its draft, and what the parts of it may ask for. */
interface PageForm<R extends FormRules = FormRules, D = Named> {
  rules: R;
  kept: Kept<D>;
  spots: Map<string, Spot>;
  distinct: Spot[];
  refreshers: (() => void)[];
  grids: { pointer: string; said: HTMLElement }[];
  touched: Set<string>;
  all: boolean;
  elsewhere: boolean;
  typed(pointer: string): void;
  changed(): void;
  left(pointer: string): void;
  structure(pointer: string | null, message?: string, id?: string | null): void;
  forget(pointer: string): void;
}

interface SubmissionForm extends PageForm<SubmissionRules, SubmissionDraft> {
  opened: Map<string, boolean>;
  unitOf: Map<string, unknown>;
  shown: ShownFinding[];
  answered: string;
}

interface ReviewForm extends PageForm<ReviewRules, ReviewDraft> {
  drawn?: unknown;
}

/** What an element may hold: texts become text nodes, nothing is left out. */
type Content = Node | string | null | undefined | false;
type Contents = Content | Contents[];

// -- the answer of one submission

type Matrix = number[][];

/** A map that is asked only for what it holds. */
interface KnownMap<T, K = string> extends Map<K, T> {
  get(name: K): T;
}

/** A value on the ln scale with what censors it; NaN where there is none, and the reason. */
interface CensoredValue {
  low: number;
  high: number;
  se: number;
  reason: string;
}

interface CanonicalReading {
  work: number;
  values: number[];
  limits: (string | null)[];
  passed: boolean[];
}

/** A run in the protocol's units, with the facts that a design needs. */
interface CanonicalRun {
  id: string;
  order: number;
  tester: string;
  evening?: number;
  lot?: string;
  lot_changes?: unknown;
  ended: string;
  blinding?: string | null;
  preparation?: string;
  readings: CanonicalReading[];
  blade: string;
  steel: string | null;
  sharpener: string;
  level: string | null;
  levelPlace: number;
  practice: string | null;
  edgePart: string;
  pair: string | null;
  angle: number | null;
  split: boolean;
}

/** A run as a curve of keenness against work; `first` is the first positive checkpoint. */
interface Curve {
  work: number[];
  low: number[];
  high: number[];
  se: number[];
  repeats: number[];
  first: number;
}

interface EndpointRow {
  run: CanonicalRun;
  endpoint: string;
  flags: string[];
  failed: boolean;
  status: string;
  low: number;
  high: number;
  reason: string;
  readingSe: number;
}

/** A scaled design: the projector on its row space and an orthonormal basis. */
interface Design {
  x: Matrix;
  scale: number[];
  inverse: Matrix;
  projector: Matrix;
  basis: Matrix;
  rank: number;
}

interface Model {
  levels: KnownMap<string[]>;
  columns: KnownMap<number>;
  design: Design;
  leftOut: string[];
}

/** A contrast asked of a model; `weights` only where it can be told, else a reason. */
interface Question {
  factor: string;
  first: string;
  second: string;
  sides: boolean[][];
  weights: number[] | null;
  reason: string;
}

/** A question with its answer: an estimate with both limits, a bound, or neither, with the reason. */
type Contrast = Question & {
  bound: { side: string; ln: number } | null;
  verdict: string;
  excludes: number;
} & ({ estimate: number; low: number; high: number } | { estimate: null; low: null; high: null });

/** A contrast as the page tells it; null where a number is unbounded or there is none. */
interface AnswerResult {
  endpoint: string;
  title: string;
  role: string;
  factor: string;
  first: string;
  second: string;
  ratio: number | null;
  low: number | null;
  high: number | null;
  level: number;
  verdict: string;
  ruled_out_beyond: number | null;
  sentence: string;
  reason: string;
  runs_first: number;
  runs_second: number;
}
