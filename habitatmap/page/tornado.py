"""Which assumption moves the plan most: a small picture of bars, and the sentence that says the same."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from habitatmap.words.numbers import known
from habitatmap.words.sentences import Sentence, Value, following, say, significant

Rows = Sequence[Mapping[str, Any]]
HEAD = "share of the sites that leave the plan"
WIDTH, ROW, BAR, MIDDLE = 440, 26, 110, 300  # of the picture, in pixels


def moved(sensitivity: Rows) -> list[tuple[str, list[tuple[str, float]]]]:
    """For each assumption its levels, each with the share of the sites that leave the plan; the largest first."""
    found: dict[str, list[tuple[str, float]]] = {}
    for row in sensitivity:
        if row["assumption"] != "none" and known(row["kept"]):
            found.setdefault(str(row["assumption"]), []).append((str(row["level"]), 1.0 - float(row["kept"])))
    return sorted(found.items(), key=lambda one: (-max(share for _, share in one[1]), one[0]))


def tornado_words(sensitivity: Rows) -> Sentence | None:
    """What moves the plan most; None where nothing is known of it."""
    bars = moved(sensitivity)
    if not bars:
        return None
    name, levels = bars[0]
    level, share = max(levels, key=lambda one: one[1])
    if share == 0:
        return Sentence(
            "No assumption by itself moves the plan: every site stays, whichever end of its range is taken."
        )
    words = "What moves the plan most is the {name}: with {level}, {share} of the sites are no longer in it"
    values: dict[str, Value] = {"name": Sentence(name), "level": Sentence(level), "share": significant(share)}
    most = [(other, significant(max(share for _, share in ends))) for other, ends in bars[1:]]
    if most:
        words += " (the others at most: {rest})"
        rest = [Sentence("{name} {share}", {"name": Sentence(other), "share": moves}) for other, moves in most]
        values["rest"] = following(*rest, by=", ")
    return Sentence(f"{words}.", values)


def tornado_svg(sensitivity: Rows) -> tuple[str, list[Sentence]]:
    """The picture as SVG text, without style sheets or scripts, "" where nothing is known; and the words in it.

    Where the picture has {t0}, {t1} and so on, the page writes these words in its reader's language.
    """
    bars = moved(sensitivity)
    told: list[Sentence] = []

    def word(said: Sentence) -> str:
        told.append(said)
        return f"{{t{len(told) - 1}}}"

    if not bars:
        return "", told
    height = ROW * (len(bars) + 1) + 8
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" width="{WIDTH}" height="{height}" '
        'font-family="sans-serif" font-size="12">',
        f'<rect width="{WIDTH}" height="{height}" fill="#ffffff"/>',
        f'<text x="{MIDDLE}" y="16" text-anchor="middle" fill="#222222">{word(Sentence(HEAD))}</text>',
    ]
    for at, (name, levels) in enumerate(bars, 1):
        y = ROW * at + 4
        parts.append(f'<text x="4" y="{y + 15}" fill="#222222">{word(Sentence(name))}</text>')
        # one level to each side; a third and further ones lie on the right, below one another in size
        for turn, (level, share) in enumerate(levels):
            wide, right = BAR * share, turn > 0
            x = MIDDLE if right else MIDDLE - wide
            parts.append(
                f'<rect x="{x:.1f}" y="{y}" width="{wide:.1f}" height="20" fill="#{"b0521f" if right else "2f6c8f"}"/>'
            )
            end, anchor = (MIDDLE + wide + 4, "start") if right else (MIDDLE - wide - 4, "end")
            words = word(say("{level}: {share}", level=Sentence(level), share=significant(share)))
            parts.append(
                f'<text x="{end:.1f}" y="{y + 15}" text-anchor="{anchor}" font-size="10" fill="#222222">{words}</text>'
            )
    parts.append(f'<path d="M{MIDDLE} {ROW}V{height - 4}" stroke="#222222"/></svg>')
    return "\n".join(parts), told
