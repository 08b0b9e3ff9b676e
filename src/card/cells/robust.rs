//! Means that dust does not move, and standard errors that neighbouring pixels do not flatter.

use super::zones::{Block, Cell};
use crate::scan::Scan;

/// How many robust standard deviations from the median a block may lie.
const CLIP: f64 = 3.5;
/// A robust standard deviation in units of the median absolute deviation (normal distribution).
pub(super) const PER_MAD: f64 = 1.4826;
/// Side of the parts that a cell's standard error comes from (mm). Noise, streaks and dust are alike within, not between.
const PART: f64 = 2.0;
/// About how many blocks medians are taken of.
const LOOKS: usize = 2000;
/// Blocks that a cell needs.
const FEWEST: usize = 6;

/// One cell, averaged.
#[derive(Debug, Clone)]
pub(super) struct Summary {
    pub(super) mean: [f64; 3],
    /// Standard deviation of the mean.
    pub(super) sd: [f64; 3],
    /// Standard deviation of the parts about the mean.
    pub(super) spread: [f64; 3],
    /// Means of the parts.
    pub(super) parts: Vec<[f64; 3]>,
    /// What levelling is unsure of, as a share of every channel's value.
    pub(super) relative_sd: [f64; 3],
    pub(super) pixels: u64,
    pub(super) rejected_share: f64,
    pub(super) clipped_low: [f64; 3],
    pub(super) clipped_high: [f64; 3],
}

/// Averages a cell; `None` where it has too few blocks.
pub(super) fn summarise(cell: &Cell, scan: &Scan) -> Option<Summary> {
    if cell.blocks.len() < FEWEST {
        return None;
    }
    let kept = keep(&cell.blocks, scan.origin.depth);
    let blocks: Vec<&Block> = cell
        .blocks
        .iter()
        .zip(&kept)
        .filter(|&(_, &kept)| kept)
        .map(|(block, _)| block)
        .collect();
    if blocks.len() < FEWEST {
        return None;
    }
    let count = blocks.len() as f64;
    let mean = mean_of(blocks.iter().map(|block| block.value));
    let parts = parts(&blocks, PART * cell.millimetre);
    let (spread, sd) = if parts.len() >= 3 {
        let spread = deviation(&parts, mean);
        (spread, spread.map(|s| s / (parts.len() as f64).sqrt()))
    } else {
        // Too small to be divided: neighbouring blocks count as one in four (ours; noise reaches a few pixels).
        let spread = deviation(
            &blocks.iter().map(|block| block.value).collect::<Vec<_>>(),
            mean,
        );
        (spread, spread.map(|s| s / (count / 4.0).max(1.0).sqrt()))
    };
    let pixels = u64::from(cell.block_pixels) * blocks.len() as u64;
    let share = |of: &dyn Fn(&Block) -> u32| {
        blocks.iter().map(|block| u64::from(of(block))).sum::<u64>() as f64 / pixels as f64
    };
    Some(Summary {
        mean,
        sd,
        spread,
        parts,
        relative_sd: [0.0; 3],
        pixels,
        rejected_share: 1.0 - count / cell.blocks.len() as f64,
        clipped_low: std::array::from_fn(|c| share(&|block| block.low[c])),
        clipped_high: std::array::from_fn(|c| share(&|block| block.high[c])),
    })
}

/// Share of blocks with pixels at the file's lower end from which a channel's noise counts as cut off there.
const CUT: f64 = 0.05;

/// One standard deviation above the median of a normal distribution: 84 % lie below.
fn upper(values: &mut [f64]) -> f64 {
    let place = (0.8413 * values.len() as f64) as usize;
    let place = place.min(values.len().saturating_sub(1));
    *values.select_nth_unstable_by(place, f64::total_cmp).1
}

/// Which blocks lie near the median in every channel, the median and the scale taken again until nothing changes.
fn keep(blocks: &[Block], depth: u8) -> Vec<bool> {
    // The middle of a few thousand is known well enough.
    let stride = (blocks.len() / LOOKS) | 1;
    let mut kept = vec![true; blocks.len()];
    for _ in 0..8 {
        let limits: [(f64, f64); 3] = std::array::from_fn(|c| {
            let mut values: Vec<f64> = blocks
                .iter()
                .zip(&kept)
                .step_by(stride)
                .filter(|&(_, &kept)| kept)
                .map(|(block, _)| block.value[c])
                .collect();
            let middle = median(&mut values);
            // Where the file cuts noise off, half of the blocks may be alike: the other side still shows how wide it is.
            let cut = blocks.iter().filter(|block| block.low[c] > 0).count();
            let one_sided = if cut as f64 > CUT * blocks.len() as f64 {
                upper(&mut values) - middle
            } else {
                0.0
            };
            values.iter_mut().for_each(|v| *v = (*v - middle).abs());
            let scale = (PER_MAD * median(&mut values))
                .max(one_sided)
                .max(step(middle, depth));
            (middle - CLIP * scale, middle + CLIP * scale)
        });
        let now: Vec<bool> = blocks
            .iter()
            .map(|block| {
                (0..3).all(|c| block.value[c] >= limits[c].0 && block.value[c] <= limits[c].1)
            })
            .collect();
        if now == kept {
            break;
        }
        kept = now;
    }
    kept
}

/// About one step of the encoding at a value, of curves like that of sRGB: where all blocks are alike, a single step is no dirt.
fn step(value: f64, depth: u8) -> f64 {
    let codes = if depth > 8 { 65_535.0 } else { 255.0 };
    2.2 * libm::pow(value.max(1e-3), 1.0 - 1.0 / 2.2) / codes
}

/// The value in the middle. Leaves the values in another order; `NaN` if there are none.
pub(crate) fn median(values: &mut [f64]) -> f64 {
    if values.is_empty() {
        return f64::NAN;
    }
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
}

fn mean_of(values: impl Iterator<Item = [f64; 3]>) -> [f64; 3] {
    let mut sum = [0.0; 3];
    let mut count = 0.0;
    for value in values {
        (0..3).for_each(|c| sum[c] += value[c]);
        count += 1.0;
    }
    sum.map(|s| s / count)
}

/// Standard deviation of at least two values about a mean.
fn deviation(values: &[[f64; 3]], mean: [f64; 3]) -> [f64; 3] {
    let freedom = (values.len() as f64 - 1.0).max(1.0);
    std::array::from_fn(|c| {
        (values
            .iter()
            .map(|v| (v[c] - mean[c]) * (v[c] - mean[c]))
            .sum::<f64>()
            / freedom)
            .sqrt()
    })
}

/// Means of squares of about this side, of those that are at least a third full.
fn parts(blocks: &[&Block], side: f64) -> Vec<[f64; 3]> {
    let bounds = |axis: usize| {
        let places = blocks.iter().map(|block| block.at[axis]);
        let low = places.clone().fold(f64::INFINITY, f64::min);
        (low, places.fold(f64::NEG_INFINITY, f64::max) - low)
    };
    let ((left, width), (top, height)) = (bounds(0), bounds(1));
    let number = |length: f64| (length / side).round().clamp(1.0, 8.0);
    let (across, down) = (number(width), number(height));
    let mut sums = vec![([0.0; 3], 0_usize); (across * down) as usize];
    for block in blocks {
        let index = |at: f64, low: f64, length: f64, number: f64| {
            if length > 0.0 {
                ((at - low) / length * number).min(number - 1.0) as usize
            } else {
                0
            }
        };
        let (i, j) = (
            index(block.at[0], left, width, across),
            index(block.at[1], top, height, down),
        );
        let (sum, count) = &mut sums[j * across as usize + i];
        (0..3).for_each(|c| sum[c] += block.value[c]);
        *count += 1;
    }
    let full = blocks.len() / sums.len();
    sums.iter()
        .filter(|(_, count)| 3 * count >= full.max(1))
        .map(|(sum, count)| sum.map(|s| s / *count as f64))
        .collect()
}

/// Crossings pooled.
pub(super) struct Pooled {
    pub(super) additive: [f64; 3],
    pub(super) additive_sd: [f64; 3],
    pub(super) xyz: [f64; 3],
    pub(super) xyz_sd: [f64; 3],
}

/// Weighted mean over cells that should be alike. Weights come from each cell's own standard deviation and from how much
/// the cells differ beyond it; cells far from the rest count less (Huber). `None` without cells.
pub(super) fn pool(seen: &[&Summary], to_xyz: &[[f64; 3]; 3]) -> Option<Pooled> {
    if seen.is_empty() {
        return None;
    }
    let convert = |v: [f64; 3]| to_xyz.map(|row| row[0] * v[0] + row[1] * v[1] + row[2] * v[2]);
    let of = |c: usize| {
        seen.iter()
            .map(move |s| (s.mean[c], own_sd(s, c)))
            .collect::<Vec<_>>()
    };
    let additive: [(f64, f64); 3] = std::array::from_fn(|c| pool_one(&of(c)));
    // The same in XYZ, where the channels' errors, which go together, may add up or cancel.
    let converted: Vec<([f64; 3], [f64; 3])> = seen.iter().map(|s| xyz_of(s, &convert)).collect();
    let spread: [f64; 3] = std::array::from_fn(|c| {
        pool_one(
            &converted
                .iter()
                .map(|(v, sd)| (v[c], sd[c]))
                .collect::<Vec<_>>(),
        )
        .1
    });
    Some(Pooled {
        additive: additive.map(|(value, _)| value),
        additive_sd: additive.map(|(_, sd)| sd),
        xyz: convert(additive.map(|(value, _)| value)),
        xyz_sd: spread,
    })
}

fn own_sd(seen: &Summary, c: usize) -> f64 {
    let levelling = seen.relative_sd[c] * seen.mean[c];
    (seen.sd[c] * seen.sd[c] + levelling * levelling).sqrt()
}

/// XYZ of a cell's mean and its standard deviation, from XYZ of the parts.
fn xyz_of(seen: &Summary, convert: &dyn Fn([f64; 3]) -> [f64; 3]) -> ([f64; 3], [f64; 3]) {
    let mean = convert(seen.mean);
    let scatter = if seen.parts.len() >= 3 {
        let parts: Vec<[f64; 3]> = seen.parts.iter().map(|&part| convert(part)).collect();
        deviation(&parts, mean).map(|s| s / (parts.len() as f64).sqrt())
    } else {
        // Without parts the channels count as independent.
        let squares = |row: [f64; 3]| {
            (0..3)
                .map(|c| (row[c] * seen.sd[c]) * (row[c] * seen.sd[c]))
                .sum::<f64>()
                .sqrt()
        };
        let columns = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]].map(convert);
        std::array::from_fn(|axis| squares(columns.map(|column| column[axis])))
    };
    let levelling: [f64; 3] = std::array::from_fn(|c| seen.relative_sd[c] * seen.mean[c]);
    let levelling = convert(levelling);
    (
        mean,
        std::array::from_fn(|c| (scatter[c] * scatter[c] + levelling[c] * levelling[c]).sqrt()),
    )
}

/// Pooled value and its standard deviation.
fn pool_one(cells: &[(f64, f64)]) -> (f64, f64) {
    // A cell without any scatter at all must not outweigh the others without end.
    let own: Vec<f64> = cells.iter().map(|&(_, sd)| sd.max(1e-6)).collect();
    let mut differ = 0.0_f64;
    let mut tamed = vec![1.0; cells.len()];
    let mut value = 0.0;
    for _ in 0..20 {
        let weights: Vec<f64> = own
            .iter()
            .zip(&tamed)
            .map(|(sd, tame)| tame / (sd * sd + differ * differ))
            .collect();
        let total: f64 = weights.iter().sum();
        value = cells
            .iter()
            .zip(&weights)
            .map(|(cell, w)| cell.0 * w)
            .sum::<f64>()
            / total;
        // Huber's weight at 2 standard deviations, from three cells on: of two, none can be the stray one.
        if cells.len() > 2 {
            for (i, cell) in cells.iter().enumerate() {
                let off = (cell.0 - value).abs() / (own[i] * own[i] + differ * differ).sqrt();
                tamed[i] = if off > 2.0 { 2.0 / off } else { 1.0 };
            }
        }
        let next = between(cells, &own, &tamed, value);
        if (next - differ).abs() < 1e-9 {
            break;
        }
        differ = next;
    }
    let total: f64 = own
        .iter()
        .zip(&tamed)
        .map(|(sd, tame)| tame / (sd * sd + differ * differ))
        .sum();
    (value, total.sqrt().recip())
}

/// How much cells differ beyond their own standard deviations (a moment estimate).
fn between(cells: &[(f64, f64)], own: &[f64], tamed: &[f64], value: f64) -> f64 {
    if cells.len() < 2 {
        return 0.0;
    }
    let total: f64 = tamed.iter().sum();
    let squares: f64 = cells
        .iter()
        .zip(tamed)
        .map(|(cell, tame)| tame * (cell.0 - value) * (cell.0 - value))
        .sum();
    let expected: f64 = own.iter().zip(tamed).map(|(sd, tame)| tame * sd * sd).sum();
    let freedom = total * (cells.len() as f64 - 1.0) / cells.len() as f64;
    ((squares - expected * freedom / total) / freedom)
        .max(0.0)
        .sqrt()
}
