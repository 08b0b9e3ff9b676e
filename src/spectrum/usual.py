"""Writes usual.csv: mean and covariance of the logit of real reflectances, 31 bands from 400 to 700 nm.

Half from 1269 matt chips of a painted colour atlas (measured at Joensuu, Finland), half from the 4880 object
spectra of IES TM-30-15, both as the Python package luxpy carries them (luxpy/data/rfls). The covariance counts
1.25 times: with it the 90 % range of what the spectrum does under clear films holds 88 to 97 % of the time over five other
sets (tests/grounds.rs), without it 85 to 93 %.

python3 usual.py FOLDER_OF_RFLS > usual.csv      (needs numpy)
"""
import sys
import numpy as np

BANDS = np.arange(400, 701, 10)
folder = sys.argv[1]

def on_bands(wavelengths, spectra):
    return np.array([np.interp(BANDS, wavelengths, s) for s in spectra])

atlas = np.loadtxt(f"{folder}/Munsell1269.dat", delimiter=",")
objects = np.load(f"{folder}/IESTM30_15_R4880.npz")["_IESTM30_R4880"]
sets = [on_bands(atlas[:, 0], atlas[:, 1:].T), on_bands(objects[0], objects[1:])]

def logit(r):
    r = np.clip(r, 1e-3, 0.999)
    return np.log(r / (1 - r))

means = [logit(s).mean(0) for s in sets]
mean = (means[0] + means[1]) / 2
apart = (means[0] - means[1]) / 2
covariance = sum(np.cov(logit(s).T) for s in sets) / 2 + np.outer(apart, apart)
# Both terms are ours: other sets vary more than these two, and no spectrum is known better than 2 % of its odds band by band.
covariance = 1.25 * covariance + 0.02**2 * np.eye(len(BANDS))
for row in [mean, *covariance]:
    print(",".join(f"{v:.6g}" for v in row))
