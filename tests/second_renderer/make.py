"""Makes the scans with their truth, and the pictures that hold no card.

    python make.py FOLDER [SET ...]

Writes FOLDER/SET-NN.png (or .tif, .jpg) and FOLDER/SET-NN.json, what is true of it; and FOLDER/no-card/. Sets: ideal, plain, dirty,
crooked, photo, strange, no-card; all when none is named.
"""
import argparse
import json
import pathlib

import not_cards
import scanning
import sets


def main():
    parser = argparse.ArgumentParser(description="Makes scans of invented drawdown cards with their truth.")
    parser.add_argument("folder", type=pathlib.Path)
    parser.add_argument("sets", nargs="*", metavar="SET")
    wanted = parser.parse_args()
    wanted.folder.mkdir(parents=True, exist_ok=True)
    listed = sets.all_scans()
    unknown = set(wanted.sets) - {scan.name.split("-")[0] for scan in listed} - {"no-card"}
    if unknown:
        parser.error(f"no such set: {', '.join(sorted(unknown))}")
    for scan in listed:
        if not wanted.sets or scan.name.split("-")[0] in wanted.sets:
            truth = scanning.make(scan, wanted.folder)
            (wanted.folder / f"{scan.name}.json").write_text(json.dumps(truth))
            print(truth["scan"], *truth["size"], *(card["paint"] for card in truth["cards"]), sep="  ", flush=True)
    if not wanted.sets or "no-card" in wanted.sets:
        not_cards.make(wanted.folder / "no-card")


if __name__ == "__main__":
    main()
