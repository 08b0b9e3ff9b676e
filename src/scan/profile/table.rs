//! Profiles that go from R, G, B to colour by a table: `lut8Type`, `lut16Type` and `lutAToBType` of ICC.1:2022.

use moxcms::{
    DataColorSpace, LutDataType, LutMultidimensionalType, LutStore, LutType, LutWarehouse,
};
use palette::convert::FromColorUnclamped;

use super::{
    Unusable,
    curve::{Curve, interpolate},
};
use crate::colour::{Lab, Xyz};

/// Values kept of a curve given by a formula.
const CURVE_VALUES: usize = 4096;

/// The steps from codes to XYZ, in the order in which they are taken.
#[derive(Debug)]
pub(super) struct Table {
    first: [Vec<f32>; 3],
    grid: Option<Grid>,
    middle: Option<Middle>,
    last: [Vec<f32>; 3],
    encoding: Encoding,
}

/// The `M` curves and the matrix of `lutAToBType`.
#[derive(Debug)]
struct Middle {
    curves: [Vec<f32>; 3],
    rows: [[f64; 3]; 3],
    offset: [f64; 3],
}

/// How a table's last numbers, 0 to 1, stand for colours of the connection space (ICC.1:2022, 6.3.4).
#[derive(Debug, Clone, Copy)]
enum Encoding {
    Xyz,
    /// Of `lut8Type` and `lutAToBType`.
    Lab,
    /// Of `lut16Type`: full scale is 65280, not 65535.
    LabSixteen,
}

impl Table {
    pub(super) fn new(lut: &LutWarehouse, pcs: DataColorSpace) -> Result<Self, Unusable> {
        match lut {
            LutWarehouse::Lut(lut) => Self::from_plain(lut, pcs),
            LutWarehouse::Multidimensional(lut) => Self::from_multidimensional(lut, pcs),
        }
    }

    fn from_plain(lut: &LutDataType, pcs: DataColorSpace) -> Result<Self, Unusable> {
        if lut.num_input_channels != 3 || lut.num_output_channels != 3 {
            return Err(Unusable::Absurd);
        }
        let encoding = match (pcs, lut.lut_type) {
            (DataColorSpace::Xyz, _) => Encoding::Xyz,
            (DataColorSpace::Lab, LutType::Lut16) => Encoding::LabSixteen,
            (DataColorSpace::Lab, _) => Encoding::Lab,
            _ => return Err(Unusable::Absurd),
        };
        let first = split(
            unit(&lut.input_table),
            usize::from(lut.num_input_table_entries),
        )?;
        Ok(Self {
            first: first.map(|curve| Curve::Sampled(curve).by_code()),
            grid: Some(Grid::new(
                [usize::from(lut.num_clut_grid_points); 3],
                unit(&lut.clut_table),
            )?),
            middle: None,
            last: split(
                unit(&lut.output_table),
                usize::from(lut.num_output_table_entries),
            )?,
            encoding,
        })
    }

    fn from_multidimensional(
        lut: &LutMultidimensionalType,
        pcs: DataColorSpace,
    ) -> Result<Self, Unusable> {
        if lut.num_input_channels != 3 || lut.num_output_channels != 3 {
            return Err(Unusable::Absurd);
        }
        let encoding = match pcs {
            DataColorSpace::Xyz => Encoding::Xyz,
            DataColorSpace::Lab => Encoding::Lab,
            _ => return Err(Unusable::Absurd),
        };
        let last = curves(&lut.b_curves)?;
        let middle = if lut.m_curves.is_empty() {
            None
        } else {
            let curves = curves(&lut.m_curves)?.map(|curve| curve.sampled(CURVE_VALUES));
            Some(Middle {
                curves,
                rows: lut.matrix.v,
                offset: lut.bias.v,
            })
        };
        let sides = [lut.grid_points[0], lut.grid_points[1], lut.grid_points[2]].map(usize::from);
        // ICC.1:2022, 10.12: B alone; M, matrix, B; A, table, B; or A, table, M, matrix, B.
        let (first, grid) = match &lut.clut {
            Some(values) => (
                curves(&lut.a_curves)?,
                Some(Grid::new(sides, unit(values))?),
            ),
            None => ([Curve::IDENTITY, Curve::IDENTITY, Curve::IDENTITY], None),
        };
        Ok(Self {
            first: first.map(|curve| curve.by_code()),
            grid,
            middle,
            last: last.map(|curve| curve.sampled(CURVE_VALUES)),
            encoding,
        })
    }

    /// XYZ of 16-bit codes.
    pub(super) fn xyz(&self, code: [u16; 3]) -> [f64; 3] {
        let mut v = std::array::from_fn(|i| f64::from(self.first[i][usize::from(code[i])]));
        if let Some(grid) = &self.grid {
            v = grid.at(v);
        }
        if let Some(middle) = &self.middle {
            let m: [f64; 3] = std::array::from_fn(|i| interpolate(&middle.curves[i], v[i]));
            let row = |i: usize| {
                let row = middle.rows[i];
                row[0] * m[0] + row[1] * m[1] + row[2] * m[2] + middle.offset[i]
            };
            v = std::array::from_fn(row);
        }
        self.encoding
            .xyz(std::array::from_fn(|i| interpolate(&self.last[i], v[i])))
    }
}

impl Encoding {
    fn xyz(self, v: [f64; 3]) -> [f64; 3] {
        let lab = match self {
            // ICC.1:2022, table 11: 1.0 is 32768 of 65535.
            Self::Xyz => return v.map(|v| v * (65535.0 / 32768.0)),
            // Table 12 and 13.
            Self::Lab => [100.0 * v[0], 255.0 * v[1] - 128.0, 255.0 * v[2] - 128.0],
            // Table 42: 100 and 127 stand at 65280.
            Self::LabSixteen => {
                let v = v.map(|v| v * (65535.0 / 65280.0));
                [100.0 * v[0], 255.0 * v[1] - 128.0, 255.0 * v[2] - 128.0]
            }
        };
        // Unclamped: a table may hold colours beyond the white, and below black.
        let xyz = Xyz::from_color_unclamped(Lab::new(lab[0], lab[1], lab[2]));
        [xyz.x, xyz.y, xyz.z]
    }
}

/// A table over three inputs; the last input runs fastest (ICC.1:2022, 10.10).
#[derive(Debug)]
struct Grid {
    sides: [usize; 3],
    values: Vec<f32>,
}

impl Grid {
    fn new(sides: [usize; 3], values: Vec<f32>) -> Result<Self, Unusable> {
        let nodes = sides[0] * sides[1] * sides[2];
        let sound = sides.iter().all(|&side| side >= 2) && values.len() == 3 * nodes;
        if sound {
            Ok(Self { sides, values })
        } else {
            Err(Unusable::Absurd)
        }
    }

    fn node(&self, at: [usize; 3]) -> [f64; 3] {
        let i = 3 * ((at[0] * self.sides[1] + at[1]) * self.sides[2] + at[2]);
        [self.values[i], self.values[i + 1], self.values[i + 2]].map(f64::from)
    }

    /// Tetrahedral interpolation (Sakamoto and Itooka, US patent 4275413, 1981; long expired): from the cell's lowest
    /// corner to its highest along the edges of the largest share first.
    fn at(&self, v: [f64; 3]) -> [f64; 3] {
        let mut corner = [0; 3];
        let mut share = [0.0; 3];
        for i in 0..3 {
            let position = v[i].clamp(0.0, 1.0) * (self.sides[i] - 1) as f64;
            corner[i] = (position as usize).min(self.sides[i] - 2);
            share[i] = position - corner[i] as f64;
        }
        let mut order = [0, 1, 2];
        for (i, j) in [(0, 1), (1, 2), (0, 1)] {
            if share[order[i]] < share[order[j]] {
                order.swap(i, j);
            }
        }
        let mut here = self.node(corner);
        let mut sum = here;
        for axis in order {
            corner[axis] += 1;
            let next = self.node(corner);
            for i in 0..3 {
                sum[i] += share[axis] * (next[i] - here[i]);
            }
            here = next;
        }
        sum
    }
}

/// Table entries as numbers 0 to 1.
fn unit(store: &LutStore) -> Vec<f32> {
    match store {
        LutStore::Store8(values) => values.iter().map(|&v| f32::from(v) / 255.0).collect(),
        LutStore::Store16(values) => values.iter().map(|&v| f32::from(v) / 65535.0).collect(),
    }
}

/// Three curves that lie one after the other.
fn split(values: Vec<f32>, entries: usize) -> Result<[Vec<f32>; 3], Unusable> {
    if entries < 2 || values.len() < 3 * entries {
        return Err(Unusable::Absurd);
    }
    Ok(std::array::from_fn(|i| {
        values[i * entries..(i + 1) * entries].to_vec()
    }))
}

fn curves(icc: &[moxcms::ToneReprCurve]) -> Result<[Curve; 3], Unusable> {
    match icc {
        [first, second, third] => Ok([Curve::new(first)?, Curve::new(second)?, Curve::new(third)?]),
        _ => Err(Unusable::Absurd),
    }
}
