"""Every code a finding can carry: how grave it is, what it means, and the usual cure.

An error stops a build. A warning is shown, counted and can be answered by the submitter (``answers`` in the file).
"""

from __future__ import annotations

from dataclasses import dataclass

from edgehold.errors import ERROR, WARNING


@dataclass(frozen=True)
class Code:
    """What a code stands for.

    Attributes
    ----------
    severity : ``"error"`` or ``"warning"``.
    meaning : one sentence, for documentation.
    cure : what would be right, where a finding says nothing more exact.
    """

    severity: str
    meaning: str
    cure: str


def _errors(**texts: tuple[str, str]) -> dict[str, Code]:
    return {name.replace("_", "-"): Code(ERROR, *text) for name, text in texts.items()}


def _warnings(**texts: tuple[str, str]) -> dict[str, Code]:
    return {name.replace("_", "-"): Code(WARNING, *text) for name, text in texts.items()}


_OPENING = _errors(
    link_refused=("A symbolic link stands where a file or folder was expected.", "put the file itself there"),
    not_a_file=("Something that is not an ordinary file stands there.", "put an ordinary file there"),
    cannot_be_opened=("The file cannot be opened.", "make the file readable"),
    file_too_large=("The file is larger than the limit of its kind.", "split it into several files, or shorten it"),
    byte_order_mark=("The file begins with a byte order mark.", "save it as UTF-8 without a byte order mark"),
    not_utf8=("The file is not UTF-8 text.", "save it as UTF-8"),
    control_character=("A control character stands in the text.", "delete it, or type the text again"),
    direction_override=(
        "A character that reverses the direction of writing can make a text look like another.",
        "delete it, or type the text again",
    ),
    nested_too_deep=("Brackets are nested deeper than any record needs.", "keep to the form of the schema"),
    too_many_values=("The file holds more values than a record of its kind may.", "split it into several files"),
    duplicate_key=("A name stands twice in one object.", "keep the one that is meant"),
    not_finite=("NaN or Infinity stands where a number was expected.", "write the number, or null when nothing was read"),
    number_too_large=("The number cannot be kept exactly.", "write an ordinary number"),
    lone_surrogate=("Half a character stands in the text.", "type the text again"),
    not_json=("The text is not JSON.", "compare the line with the example of a submission"),
    not_yaml=("The text is not YAML.", "compare the line with the other files of its kind"),
    yaml_feature=("YAML beyond plain values is used.", "write the value out, without anchors, aliases or tags"),
    no_front_matter=(
        "The file does not begin with front matter.",
        "begin with a line ---, the machine-readable part, and a line ---",
    ),
    empty_body=("Nothing stands after the front matter.", "write the text below the second line ---"),
    too_many_findings=("More was found in this file than is listed.", "cure what is listed and check again"),
    register_unreadable=("The register of steels cannot be read.", "keep to the form of the entries around it"),
)

_FORM = _errors(
    missing_field=("A required field is missing.", "add it"),
    unknown_field=("The schema has no such field.", "take it out, or move it into a note"),
    unknown_word=("The word is none of those allowed.", "use one of the allowed words"),
    unknown_format=("The format's name or version is not known.", "use the format that the newest schema names"),
    wrong_form=("The text does not have the form its field asks for.", "see the field's text in the schema"),
    wrong_case=("Capitals stand where only lower case may.", "write it in lower case"),
    text_length=("The text is empty or too long.", "write something, within the length allowed"),
    out_of_range=("The number is outside what the field allows.", "check the number and its unit"),
    wrong_type=("A value of another kind was expected.", "see the field's text in the schema"),
    empty_list=("The list has fewer entries than it needs.", "add what is missing"),
)

_LAYOUT = _errors(
    unexpected_file=("A file or folder stands where the layout has no place for it.", "move it or take it out"),
    path_disagrees=("The path is the key, and the content says otherwise.", "make path and content agree"),
    reserved_handle=("The handle stands for something else than a person.", "choose another handle"),
    factory_edge=(
        "A factory edge is named by its sharpener alone, by its start state alone, or in a condition.",
        "write factory as both, and no condition; or who sharpened it, and what was done first",
    ),
    reserved_id=("The id is a name that some system keeps for itself.", "choose another id"),
    id_used_twice=("Two submissions share an id.", "give the newer one another id"),
    ids_differ_in_case=("Two files' names differ in capitals only.", "choose another id for the newer one"),
    duplicate_content=("The file says exactly what another one says.", "take one of the two out"),
)

_SUBMISSION = _errors(
    duplicate_id=("An id or key stands twice in one list.", "give each its own"),
    unknown_protocol=("There is no such version of the protocol.", "name a version that lies under protocols/"),
    unknown_person=("Somebody is named who is not in people.", "add the person to people, with agreed: yes, once asked"),
    unknown_reference=("Something is named that stands nowhere in the file.", "add it, or correct the name"),
    preparation_used_twice=("One preparation serves two runs.", "a second run needs a new preparation"),
    order_repeated=("Two runs have the same place in the order.", "number the runs in the order made: 1, 2, 3 …"),
    month_in_future=("The month has not come yet.", "give the month in which the last run ended"),
    wrong_medium=("The lot is of another medium than the protocol's.", "follow a protocol for that medium"),
    edge_not_allowed=("The protocol is for plain edges only.", "leave this blade's runs out"),
    wrong_unit=("The unit is not accepted by the protocol, or not known.", "use an accepted unit"),
    wrong_reading=("The reading is of another kind than the protocol's.", "give what the protocol reads"),
    not_a_number=("What is written cannot be read as one number.", "write one number"),
    negative_value=("A value or an amount of work is below 0.", "write it without the sign, if it was read so"),
    work_not_increasing=("Readings do not stand in the order of work.", "work is cumulative; put readings in order"),
    canonical_disagrees=("The canonical value is not what the written one converts to.", "leave it null"),
    unknown_steel=(
        "The designation is not in the register of steels.",
        "use the designation on the data sheet (AISI/SAE, UNS, EN or JIS; no trade name), or the composition; "
        "null when the steel is not known",
    ),
    invented_steel=("An invented steel stands in a measured submission.", "name the real one, or null"),
    real_steel=("A real steel stands in a simulated submission.", "simulated submissions use demo- steels only"),
    protocol_draft=("The protocol version is a draft and takes no submissions.", "wait until it is opened for review"),
    protocol_retired=("The run was made after the protocol version was retired.", "follow a version still in use"),
    facts_disagree=("The same key has other facts in another file.", "correct the wrong file, or choose a new key"),
)

_SUBMISSION_WARNINGS = _warnings(
    month_long_ago=("The month is more than ten years ago.", "check the year"),
    pilot=("The protocol version is in review; the submission counts as a pilot.", "nothing, if that is meant"),
    off_checkpoint=("A reading was taken beside the checkpoint.", "nothing, if it was read there: it is kept as it is"),
    repeats_differ=("The number of repeats is not the protocol's.", "give every repeat that was read"),
    implausible_value=("The value is outside the range the protocol expects.", "check the value and its unit"),
    censored_value=(
        "The value is 0, below the resolution or over the scale's end: only its limit is used.",
        'mark it "below" or "above"',
    ),
    no_reading_at_0=(
        "There is no reading before the first cut: loss and relative life are not computed.",
        "nothing; a reading cannot be made up afterwards",
    ),
    no_readings=("The run has no readings.", "nothing, if none were taken"),
    sharper_after_work=("The edge reads sharper after the first work than at 0.", "was there a burr at the start?"),
    unit_in_doubt=("The readings of a run are far off in their unit, and would not be in another one.", "choose the unit that was read in"),
    far_from_neighbours=(
        "A reading is far from those beside it, as by a slip of a digit or of the decimal point.",
        "compare with what was noted; nothing, if it was read so",
    ),
    stray_limit=("A sign of a limit stands among exact readings.", "take the sign away, if the value was read exactly"),
    sharper_again=(
        "A checkpoint reads much sharper than an earlier one, by more than readings differ.",
        "compare both lines with what was noted; nothing, if it was read so",
    ),
    checkpoint_twice=("Two checkpoints of a run have the very same readings.", "was a line typed twice? nothing, if both were read so"),
    run_copied=("Two runs, or long parts of them, have the very same readings.", "was a run copied? nothing, if both were read so"),
    end_disagrees=("A run is said to have ended at its last checkpoint, and its readings stop before.", "say how it ended"),
    change_beyond=("Something is said to have changed at more work than was done.", "compare the amount of work with what was noted"),
    pass_after_fail=("A pass follows a fail: the edge's life is only known to an interval.", "check the outcomes"),
    wide_angle=(
        "More than 25 degrees per side.",
        'check whether the figure is "per side" or "both together"; it is never halved',
    ),
    unknown_grit=("The grit system has no such designation in the register.", "write what is printed and leave the system null"),
    grit_disagrees=("The size given is not that of the designation.", "leave micrometres null, or check the designation"),
    right_angle_unused=('A right side is given although the figure is for "both together".', "give one figure"),
    lot_change=("The lot changed during the run.", "nothing; both lots are shown"),
    tester_change=("A second tester took over.", "nothing; the run is left out of the tester split"),
    two_edges=(
        "Parts of one edge were sharpened by different people and never swapped.",
        "swap the parts in another run, or say why not",
    ),
    partner_one_sided=(
        "A run names another as the one that it was cut in turn with, which does not name it.",
        "let both name each other, or neither",
    ),
    partner_differs=(
        "Two runs that were cut in turn differ in who cut them, when, what was cut or how it was read.",
        "write the same for both, or name no partner",
    ),
    partner_edge=(
        "Two runs that were cut in turn are not of the edges that the protocol compares in turn.",
        "name the run that it was really cut in turn with, or no partner",
    ),
    partner_apart=(
        "Two runs that were cut in turn do not follow each other in the order.",
        "number them one after the other: the lower number is the edge that began",
    ),
    partner_works=(
        "Two runs that were cut in turn were not read after the same amounts of work.",
        "compare both with what was noted; nothing, if they were read so",
    ),
    always_first=(
        "Of two blades that were cut in turn one always began.",
        "nothing, if it was so; next time let the other begin every second pair",
    ),
    segment_twice=(
        "One reference edge is said to have served twice.",
        "read a fresh segment each time, or write which one it was",
    ),
    reference_work=(
        "A reference edge was not read at 0 and after the protocol's fixed amount of work.",
        "nothing, if it was read so; its second reading then counts beside those of the same amount only",
    ),
    reference_in_doubt=("What was read on a reference edge is unlikely.", "compare with what was noted; nothing, if it was read so"),
    weight_in_doubt=(
        "What the rig showed of a known weight is far from the weight.",
        "check both units and figures; nothing, if it was read so: that is what the check is for",
    ),
    seal_broken=(
        "A sealed plan cannot be shown to be the one that was published.",
        "give the plan's id and hash and the whole plan with its nonce, as it was drawn; if it was changed, say so in an answer",
    ),
    seal_late=("The seal was published after the test, or together with its result.", "publish the next one before the first cut"),
    plan_differs=("The opened plan is another one than the submission's.", "open the plan that was followed"),
    order_differs=("The runs were not made as the plan drew them.", "say in an answer why; the runs count as they were made"),
    answer_without_warning=("An answer refers to a warning that does not stand.", "take the answer out"),
)

_CHANGES = _errors(
    change_without_submission=("A correction or retraction belongs to no submission.", "name a submission that lies under measured/"),
    after_retraction=("The submission was retracted before this change.", "take this file out; a retracted submission stays as it is"),
    fixed_field=(
        "A correction may not change id, origin, format, licence or protocol.",
        "retract the submission, and send it in again under another id; the protocol's version alone may be corrected",
    ),
    no_such_place=("A correction's pointer leads nowhere.", "point at a value of the submission, such as /runs/0/humidity_percent"),
    before_disagrees=(
        "A correction says that something else stood there than does.",
        'give what stands there after all earlier corrections, {"absent": true} where nothing does',
    ),
    nothing_changed=("A correction changes nothing there.", "take the entry out"),
    tombstone_and_file=(
        "A submission that was taken out is there, or its id is used again.",
        "take the file and its changes out; a new submission needs an id that nothing had before",
    ),
    alias_taken=("The handle to be shown is somebody else's.", "choose a handle that nobody has"),
    alias_chain=("The handle to be shown has a file of its own.", "name the handle that shall be shown in the end"),
) | _warnings(
    by_somebody_else=(
        "A correction or retraction is by somebody who is not named in the submission.",
        "nothing, if the maintainers did it; anybody else asks those who are named",
    ),
    same_person_unconfirmed=(
        "Two handles are said to be one person's, and not confirmed from both: they count as two people.",
        "let the other handle's file name this one",
    ),
    handle_in_id=(
        "Ids of submissions hold a handle that an alias stands for.",
        "nothing can be done here, for ids never change; ask for the submission to be taken out if it must not be seen",
    ),
    cites_gone=(
        "A submission that is cited was retracted or taken out.",
        "nothing; pages say so. A further response may rest on something else",
    ),
)

_PROTOCOL = _errors(
    released_changed=("A released version has changed.", "put the released text back; publish changes as a new version"),
    wrong_hash=("The hash is not that of the file.", "compute it again"),
    missing_figure=("The figure's file does not exist.", "add it under figures/"),
    active_figure=("The drawing holds script, style from elsewhere or links.", "draw with plain shapes and text only"),
    endpoint_form=("The endpoint's fields do not fit its kind.", "see the endpoint's kind"),
    one_primary=("Not exactly one endpoint is primary.", "mark exactly one"),
    reason_needed=("A loss or relative life is primary without a reason.", "give the reason, or choose another primary"),
    checkpoints_form=("Checkpoints must begin at 0 and increase.", "write them in order, the first one 0"),
    not_a_checkpoint=("An amount of work is none of the checkpoints.", "use one of the checkpoints"),
    reading_form=("The reading's fields do not fit its kind.", "see the reading's kind"),
    unknown_table=("The text asks for a table that no settings make.", "ask for a table that is made from the settings"),
    table_contradicts=("A table in the text says something else than the settings.", "let the table be made from the settings"),
    text_contradicts=("A sentence of the text says something else than a setting.", "write it as it is set, or change the setting"),
    unknown_step=("A step is named that the method does not have.", "use the id of a step's heading"),
    version_incompatible=(
        "A version of the same MAJOR computes an endpoint differently, or asks for another difference.",
        "make it a new MAJOR",
    ),
    bump_too_small=("More than wording differs from the version before, and only the PATCH number grows.", "make it a new MINOR"),
    unknown_version=("There is no such version.", "name a version whose file exists"),
    event_order=("The event does not follow from those before.", "released, opened for review, adopted, retired"),
    wrong_number=("The numbers do not run on without a gap.", "use the next free number"),
    self_adopted=("A version was adopted by whoever released it.", "let somebody else adopt it"),
    no_pilot=("A version is adopted without a pilot.", "name a submission that was made with this version while it was in review"),
    wrong_pilot=(
        "The pilot is not a submission of this version, or came after its adoption.",
        "name a submission that was made with this version while it was in review",
    ),
    adopted_despite_objection=(
        "A version was adopted while a blocking objection stood against it.",
        "answer the objection and have it decided first, or adopt a version that cures it",
    ),
    month_backwards=("Something is dated before what it follows.", "give the month in which it is sent"),
) | _warnings(
    no_measured_pilot=(
        "A version was adopted on a simulated pilot, or on none, and its event says why.",
        "nothing for what is published; a request that adopts names a pilot, and a measured one unless it is for the demonstration",
    ),
    form_closed=(
        "A blocking objection about safety stands against the version: nobody is led to follow it.",
        "do not go on with it; follow a version that cures the flaw",
    ),
    bump_too_large=("A larger part of the version's number grows than what differs asks for.", "let the smaller part grow"),
    version_skipped=("A version's number does not follow from the one before it.", "use the next number"),
)

_OBJECTION = _errors(
    evidence_form=("Not exactly one of probe, submission and citation is given.", "give one in each entry"),
    no_evidence=("A rebuttal rests on nothing.", "name a probe, a submission or a published source"),
    unknown_probe=("There is no probe of that name.", "use the name of a probe, or cite a submission or source"),
    revision_misses=(
        "The version named as a revision does not touch what was objected to.",
        "name a later version whose step, endpoint or fields differ there",
    ),
    not_impartial=(
        "An outcome was decided by the objector, by whoever released the protocol, or by whoever wrote the response it rests on.",
        "let somebody else decide",
    ),
    not_the_objector=(
        "An objection was withdrawn by somebody else than the objector.",
        "let the objector withdraw it, or decide otherwise",
    ),
    outcome_unfounded=(
        "An outcome rests on no response of its kind, or on a version that was not released by then.",
        "rebutted needs a rebuttal before it, revised a revision in a released version",
    ),
    nothing_new=("An outcome says what was decided already, or nothing was said since.", "add what is new as a response first"),
    after_struck=("Something follows after a thread was struck.", "take it out; raise another objection, against the method alone"),
    duplicate_form=(
        "An objection repeats one that came later, repeats another itself, or had been struck.",
        "name the first objection of its kind",
    ),
    decided_elsewhere=("A repetition was decided by itself.", "decide the objection that it repeats"),
) | _warnings(
    interest_unstated=("Nothing is said of an interest in what is compared.", "write none, owner, maker or seller"),
    names_a_person=("A person seems to be named in a text.", "write of the method; nobody is addressed here"),
)

_REQUEST = _errors(
    data_and_code=(
        "A request changes data and code together.",
        "send the data and the code in two requests, so that the code in use can check the data",
    ),
    record_changed=("A published file that only may be added is changed.", "put it back, and add what is to be said"),
    record_deleted=("A published file is taken out.", "put it back; what is published stays"),
    record_renamed=("A published file is moved.", "put it back where it was: its path is its key"),
    path_taken=("Somebody else has meanwhile published another file of this name.", "choose another id, in the file and in its name"),
    changed_twice=("The base has meanwhile changed the same file.", "merge the base into the request, and check again"),
    id_reused=("An id that once meant something else is used again.", "choose another id; ids are never used again"),
    submodule_refused=("Another repository is linked in.", "put the files themselves there"),
) | _warnings(
    executable_bit=("A data file is marked as a program.", "take the mark away: git update-index --chmod=-x, then the file's name"),
    register_entry=(
        "A register's entry is new or changed.",
        "nothing for whoever sends it; the maintainer looks the entry up in the standard it names",
    ),
    taken_out=(
        "A published submission is taken out, and its tombstone put in its place.",
        "nothing for whoever asked for it; the maintainer makes sure of the reason, and that the right file is meant",
    ),
    person_file=(
        "What is said of a handle is new or changed.",
        "nothing for whoever sends it; the maintainer makes sure that it comes from that person",
    ),
    demonstration_changed=(
        "The demonstration is changed.",
        "nothing, if edgehold demo wrote it; the tests compare it with its seed",
    ),
)

CODES: dict[str, Code] = {
    **_OPENING,
    **_FORM,
    **_LAYOUT,
    **_SUBMISSION,
    **_SUBMISSION_WARNINGS,
    **_CHANGES,
    **_PROTOCOL,
    **_OBJECTION,
    **_REQUEST,
}
