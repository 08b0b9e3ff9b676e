"""Writes grounds.csv: real reflectances, 400 to 700 nm every 10 nm, none of them among those behind src/spectrum/usual.csv.

As the Python package luxpy 1.12.5 carries them (luxpy/data/rfls):
objects   215 object colours of Opstelten (1983), every third
samples   210 real samples of CRI2012 (Smet, Schanda, Whitehead and Luo 2013), every third
familiar  ten familiar objects (Smet and others 2010)
chips     fourteen colour samples of CIE 13.3-1995
chart     24 chart patches
Spectra nearer than 0.004 (rms) to one of the two sets behind usual.csv are left out.

python3 make_grounds.py FOLDER_OF_RFLS      (needs numpy)
"""
import os
import sys
import numpy as np

BANDS = np.arange(400, 701, 10)
folder = sys.argv[1]

def spectra(name):
    path = os.path.join(folder, name)
    comma = "," in open(path).read(400)
    table = np.loadtxt(path, delimiter="," if comma else None)
    return np.array([np.interp(BANDS, table[:, 0], s) for s in table[:, 1:].T])

objects = np.load(f"{folder}/IESTM30_15_R4880.npz")["_IESTM30_R4880"]
used = np.vstack([spectra("Munsell1269.dat"), [np.interp(BANDS, objects[0], s) for s in objects[1:]]])

rows = ["set," + ",".join(map(str, BANDS))]
for name, file, step in (("objects", "Opstelten1983_215.dat", 3), ("samples", "CRI2012_R210.dat", 3), ("familiar", "MCRI_R10.dat", 1),
                         ("chips", "CIE_13_3_1995_R14.dat", 1), ("chart", "MacbethColorChecker.dat", 1)):
    for s in spectra(file)[::step]:
        if np.sqrt(((used - s) ** 2).mean(1)).min() > 0.004:
            rows.append(name + "," + ",".join(f"{v:.4f}" for v in s))
with open(os.path.join(os.path.dirname(os.path.abspath(__file__)), "grounds.csv"), "w") as out:
    out.write("\n".join(rows) + "\n")
