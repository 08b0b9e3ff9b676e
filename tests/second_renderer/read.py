"""Reads the scans with the program, predicts glazes, and prints how far both are from the truth.

    python read.py FOLDER PROGRAM [SET ...]

FOLDER: where `make.py` wrote. PROGRAM: a built `twoground`. Sets as in `make.py`; all that are there when none is named. What the
program writes is kept in FOLDER/read/.
"""
import argparse
import json
import pathlib
import shutil
import subprocess
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import linear_sum_assignment

import transport
from colours import TO_XYZ, bump, difference, internal, lab, step
from sets import MAIN

FILMS = (0.5, 1.0, 2.0)  # predicted, in units of the card's reference film
# Reflectances [31] of the grounds that films are predicted over; invented.
GROUNDS = np.array(
    [np.full(31, v) for v in (0.05, 0.2, 0.45, 0.8)]
    + [0.28 + 0.42 * step(585, 22), 0.06 + 0.34 * step(600, 18), 0.08 + 0.62 * step(515, 18)]  # flesh, red earth, yellow
    + [0.05 + 0.16 * bump(550, 45) + 0.08 * step(680, 15), 0.06 + 0.35 * bump(455, 45) + 0.03 * step(680, 20)]  # leaf, blue
    + [0.08 + 0.22 * bump(430, 40) + 0.15 * step(640, 30), 0.035 + 0.1 * step(610, 35), 0.62 - 0.25 * step(580, 40)]  # violet, brown, sky
)
# Findings that ask whether the films are the right ones, or say that no known paint explains them.
ASKS = {"strange-film", "another-film", "film-count", "films-asked", "faint-edge", "doubtful-edge", "short-film", "off-the-fit", "not-modelled"}
FAR = 40  # CIEDE2000 between cells: further apart, a reading is not of this card
COUNT_COST = 3  # CIEDE2000 that a wrong number of films weighs when readings are paired with cards


@dataclass
class Result:
    """How one card went: found right, asked or wrong; and predictions [n, 2], the difference and the range that was said."""

    scan: str
    scanner: str
    paint: str
    kind: str
    found: str
    why: str = ""
    predictions: np.ndarray = field(default_factory=lambda: np.empty((0, 2)))


def run(program, *arguments):
    """The program's end: its return code and what it wrote."""
    return subprocess.run([program, *map(str, arguments)], capture_output=True, text=True)


def read_scan(program, scan, folder):
    """The files that the program writes for a scan, and what it says."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    done = run(program, "read", scan, "--out", folder)
    if done.returncode not in (0, 1):  # 1: no card
        raise RuntimeError(f"{scan}: {done.stderr}")
    return sorted(folder.glob("*.json")), done.stderr


def cell_colours(reading, card):
    """Lab [films, white and black, 3] as read, on the scale of the card's true white; not a number where a cell was not read."""
    scale = card["white_xyz"][1] / reading["stripes"]["white_xyz"][1]
    xyz = np.full((len(reading["films"]), 2, 3), np.nan)
    for cell in reading["cells"]:
        if cell["ground"] in ("white", "black"):
            xyz[cell["film"], int(cell["ground"] == "black")] = np.array(cell["xyz"]) * scale
    return lab(xyz)


def film_distances(reading, card):
    """CIEDE2000 between read and true films, mean of both cells [read, true]."""
    seen, true = cell_colours(reading, card), lab(np.array(card["film_xyz"]))
    return np.array([[np.nanmean(difference(a, b)) for b in true] for a in seen])


def pair(readings, cards):
    """Which reading is of which card: {card: reading}, by the colours of their cells."""
    if not readings:
        return {}
    cost = np.zeros((len(cards), len(readings)))
    for i, card in enumerate(cards):
        for j, reading in enumerate(readings):
            wrong_count = len(reading["films"]) != len(card["films"])
            cost[i, j] = np.nanmean(film_distances(reading, card).min(1)) + COUNT_COST * wrong_count
    return {int(i): int(j) for i, j in zip(*linear_sum_assignment(cost)) if cost[i, j] < FAR}


def reference_build(reading, card):
    """The true build of the film that the reading took as its unit. A card may have been read upside down; where the number of films
    is wrong, that film is told by its colour."""
    distances, builds, unit = film_distances(reading, card), [film["build"] for film in card["films"]], reading["reference_film"]
    if len(reading["films"]) != len(builds):
        return builds[int(np.argmin(distances[unit]))]
    upright, turned = np.nanmean(np.diag(distances)), np.nanmean(np.diag(distances[:, ::-1]))
    return (builds if upright <= turned else builds[::-1])[unit]


def predictions(program, file, reading, card):
    """Differences and said ranges [FILMS * GROUNDS, 2] of films over grounds that the card never saw."""
    rows, unit, ground_labs = [], reference_build(reading, card), lab(GROUNDS @ TO_XYZ.T)
    paint = [np.array(card[name]) for name in ("absorption", "scattering")]
    for amount in FILMS:
        film = transport.film(*paint, unit * amount, card["anisotropy"])
        truth = lab(transport.seen([film], internal(GROUNDS)) @ TO_XYZ.T)
        for ground, true in zip(ground_labs, truth):
            over = ",".join(f"{v:.3f}" for v in ground)
            done = run(program, "glaze", file, "--over", over, "--film", amount, "--json")
            if done.returncode:
                raise RuntimeError(f"{file}: {done.stderr}")
            said = json.loads(done.stdout)
            rows.append((float(difference(said["lab"], true)), said["de00_90"]))
    return np.array(rows)


def score(program, truth_file):
    """A `Result` for every card of a scan."""
    truth = json.loads(truth_file.read_text())
    folder = truth_file.parent
    files, said = read_scan(program, folder / truth["scan"], folder / "read" / truth_file.stem)
    readings = [json.loads(file.read_text()) for file in files]
    paired, results = pair(readings, truth["cards"]), []
    for number, card in enumerate(truth["cards"]):
        result = Result(truth_file.stem, truth["scanner"], card["paint"], card["kind"], "right")
        results.append(result)
        if number not in paired:
            # One of several may be missed silently; where none is found the program says so.
            result.found, result.why = ("wrong", "missed") if readings else ("asked", said.strip().replace(str(folder), ""))
            continue
        file, reading = files[paired[number]], readings[paired[number]]
        codes = {finding["code"] for finding in reading["findings"]}
        if len(reading["films"]) != len(card["films"]):
            result.found = "asked" if codes & ASKS else "wrong"
            result.why = f"{len(reading['films'])} films of {len(card['films'])}; " + ", ".join(sorted(codes))
        if reading["state"] != "not_modelled":  # of such a paint the program predicts nothing
            result.predictions = predictions(program, file, reading, card)
    return results


def line(title, results):
    """One row of the table."""
    found = [sum(result.found == word for result in results) for word in ("right", "asked", "wrong")]
    counts = f"| {title} | {len(results)} | " + " | ".join(map(str, found))
    errors = np.concatenate([result.predictions for result in results])
    if not len(errors):
        return counts + " | 0 | | | | |"
    off, width = errors.T
    shares = f"{np.median(off):.2f} | {np.percentile(off, 95):.1f} | {np.median(width):.1f} | {100 * np.mean(off <= width):.0f} %"
    return f"{counts} | {len(errors)} | {shares} |"


def table(results):
    """Prints Markdown: by set, and the main sets by scanner and by kind of paint."""
    print("\n| cards | number | right | asked | wrong | predictions | median | 95th | width | within |\n" + "|---" * 10 + "|")
    names = {result.scan.split("-")[0]: None for result in results}
    for name in names:
        print(line(name, [result for result in results if result.scan.split("-")[0] == name]))
    main = [result for result in results if result.scan.split("-")[0] in MAIN]
    if main:
        print(line(f"**{', '.join(MAIN)}**", main))
        for key in ("scanner", "kind"):
            for value in sorted({getattr(result, key) for result in main}):
                print(line(f"of these {value}", [result for result in main if getattr(result, key) == value]))


def read_no_cards(program, folder):
    """Says in which of the pictures without a card one is seen."""
    pictures = sorted(folder.glob("*.png"))
    seen = [picture.stem for picture in pictures if read_scan(program, picture, folder.parent / "read" / f"no-card-{picture.stem}")[0]]
    print(f"\nPictures without a card: {len(pictures)}; a card is seen in {len(seen)}", *seen)


def main():
    parser = argparse.ArgumentParser(description="Reads the scans of make.py and prints how far readings and predictions are off.")
    parser.add_argument("folder", type=pathlib.Path)
    parser.add_argument("program", type=lambda path: pathlib.Path(path).resolve())
    parser.add_argument("sets", nargs="*", metavar="SET")
    wanted, results = parser.parse_args(), []
    for truth_file in sorted(wanted.folder.glob("*.json")):
        if wanted.sets and truth_file.stem.split("-")[0] not in wanted.sets:
            continue
        for result in score(wanted.program, truth_file):
            results.append(result)
            if result.found != "right":
                print(result.scan, result.paint, result.found, result.why, sep="  ", flush=True)
    no_cards = wanted.folder / "no-card"
    has_no_cards = no_cards.is_dir() and (not wanted.sets or "no-card" in wanted.sets)
    if not results and not has_no_cards:
        parser.error("there is nothing of these sets in the folder: run make.py first")
    if results:
        table(results)
    if has_no_cards:
        read_no_cards(wanted.program, no_cards)


if __name__ == "__main__":
    main()
