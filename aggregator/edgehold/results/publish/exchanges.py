"""Further runs that would help, for the person at the terminal and for programs."""

from __future__ import annotations

import json

from edgehold.pooling.exchanges import ExchangePlan, FurtherRun
from edgehold.records.canonical import PoolKey
from edgehold.results.model.numbers import published
from edgehold.results.words.sentences import amount
from edgehold.words import Reason


def exchange_text(plans: dict[PoolKey, ExchangePlan]) -> str:
    """The runs of every pool, a line each, with what each gains."""
    parts = [_pool_text(pool, plan) for pool, plan in plans.items()]
    return "\n\n".join(parts) if parts else Reason("published.nobody_to_exchange")


def _pool_text(pool: PoolKey, plan: ExchangePlan) -> str:
    lines: list[str] = [Reason("published.exchange_head", protocol=pool.protocol, major=pool.major, origin=pool.origin)]
    lines += [f"  {n}. {_run_text(run)}" for n, run in enumerate(plan.runs, start=1)]
    lines += [f"  {plan.reason}"] if plan.reason else []
    return "\n".join([*lines, f"  chosen by: {plan.method}"])


def _run_text(run: FurtherRun) -> str:
    if run.gain is None:
        gain = Reason("published.exchange_joins", rank=str(run.rank))
    else:
        gain = Reason("published.exchange_lowers", percent=amount(100 * run.gain), criterion=amount(run.criterion))
    return Reason("published.exchange", sharpener=run.sharpener, blade=run.blade, tester=run.tester, gain=gain)


def exchange_json(plans: dict[PoolKey, ExchangePlan]) -> str:
    """The same as JSON."""
    answer = [
        {
            "protocol": pool.protocol,
            "major": pool.major,
            "origin": pool.origin,
            "method": plan.method,
            "reason": plan.reason,
            "runs": [
                {
                    "blade": run.blade,
                    "sharpener": run.sharpener,
                    "tester": run.tester,
                    "rank": run.rank,
                    "criterion": published(run.criterion),
                    "gain": published(run.gain),
                }
                for run in plan.runs
            ],
        }
        for pool, plan in plans.items()
    ]
    return json.dumps(answer, indent=2)
