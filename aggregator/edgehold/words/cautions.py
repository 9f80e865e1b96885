"""What stands wherever a page or a sheet leads to cutting."""

CAUTIONS = (
    "Local law, the carrier’s rules and trained or licensed supervision come first: who may own, carry, lend, send and handle a blade.",
    "Sharp edges cut people. Clamp the work: never hold it across hand or lap. Cut-resistant glove on the other hand.",
    "Cut away from the body, on a fixed board. No folding knife without a lock. Never catch a falling blade. Cover the edge between runs.",
    "Eye protection when an edge may chip. Stop when the edge needs force; rest after a set number of cuts; stop when tired.",
    "Never test on skin, hair or nail. Nobody is ever blindfolded. First aid within reach; no children or pets near.",
)
"""What stands on every sheet, on paper or not, above the cautions of its protocol."""
