"""Writes disort_slabs.csv: reflected and transmitted share of diffuse light on bare slabs, by discrete ordinates.

PythonicDISORT 1.8 is another method (discrete ordinates, eigenvalues) by other people than adding-doubling; matched index, black below.
Columns: anisotropy (Henyey-Greenstein), single scattering albedo, optical depth, reflected, transmitted.

pip install PythonicDISORT==1.8 numpy scipy
"""
import os
import numpy as np
import PythonicDISORT

STREAMS, MOMENTS = 48, 400
rows = ["g,albedo,depth,reflected,transmitted"]
for g in (0.0, 0.3, 0.6, 0.8):
    moments = g ** np.arange(MOMENTS)
    for albedo in (0.2, 0.6, 0.9, 0.97, 0.999):
        for depth in (0.05, 0.5, 2.0, 10.0):
            _, up, down = PythonicDISORT.pydisort(
                np.array([depth]), np.array([albedo]), STREAMS, moments[None, :], 1.0, 0.0, 0.0,
                NFourier=1, only_flux=True, b_neg=1 / np.pi, f_arr=np.array([moments[STREAMS]]))[:3]
            rows.append(f"{g},{albedo},{depth},{float(up(0.0)):.7f},{float(np.sum(down(depth)[0])):.7f}")
with open(os.path.join(os.path.dirname(os.path.abspath(__file__)), "disort_slabs.csv"), "w") as file:
    file.write("\n".join(rows) + "\n")
