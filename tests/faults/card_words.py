"""What every text that a technician acts on must satisfy."""

import re

LONGEST = 30  # words a sentence: a reader in a bay takes in about one and a half lines at a glance (judgement)


def sentences(text):
    return [s for s in re.split(r"(?<=[.!?:])\s+", text.strip()) if s]


def faults_of(text):
    """Everything wrong with one text, in words."""
    wrong = []
    if not text.strip():
        wrong.append("empty")
    if text != text.strip() or "  " in text:
        wrong.append("stray spaces")
    if text and not (text[0].isupper() and text[-1] in ".!"):
        wrong.append("no sentence")
    wrong += [f"{len(s.split())} words" for s in sentences(text) if len(s.split()) > LONGEST]
    return wrong
