"""Beside the path: what one submission says by itself, judged by the published repeatability table.

The page that answers in the browser gives the same numbers and sentences (site/pages/assets/form/answer.js); the files in
tests/answers hold the two together.
"""

from .answer import Answer, RunValue, SubmissionAnswer, answer_submission

__all__ = ["Answer", "RunValue", "SubmissionAnswer", "answer_submission"]
