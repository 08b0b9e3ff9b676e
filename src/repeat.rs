//! Two scans of one card, turned half round or from another day, taken as one.
//!
//! Where they agree they are averaged by their own errors. Where they do not, the scanner does not repeat itself: the mean
//! is taken all the same, and their difference enters every cell's range as the scanner's own spread.

use crate::{
    Error, Result,
    card::cells::{self, BareStripe, PooledCell, Sampled},
    colour::{self, Xyz},
    reading,
};

/// Two scans of one card.
#[derive(Debug, Clone, PartialEq)]
pub struct Joined {
    /// Their cells as of one scan: crossings and levelling are the first one's.
    pub sampled: Sampled,
    /// CIEDE2000 between the two, cell by cell in the order of [`Sampled::pooled`].
    pub differences: Vec<f64>,
    /// Whether the card lay the other way round in the second scan, so that its films come in the opposite order.
    pub turned: bool,
    /// Whether they differ by no more than their errors let expect.
    pub agree: bool,
}

/// Median CIEDE2000 from which two scans show different cards: another tube, or other films (ours; scanners that are off
/// by automatic exposure stay below).
const ANOTHER_CARD: f64 = 12.0;
/// Root mean square of differences, in standard deviations, up to which scans agree. One is expected.
const AGREE: f64 = 1.5;
/// Added to a value before a spread is taken in proportion to it, so that dark cells keep some (reflectance).
const DARK: f64 = 0.02;

/// Joins a second scan to a first.
///
/// # Errors
/// [`Error::Refused`] when the films are not as many, or look like another card's.
pub fn join(first: &Sampled, second: &Sampled) -> Result<Joined> {
    let films = first.evenness.len();
    if films != second.evenness.len() {
        return Err(Error::Refused(format!(
            "In the second scan {} films were found, here {films}. Correct the films here, or choose a scan of the same card.",
            second.evenness.len()
        )));
    }
    let straight = matched(first, second, false);
    let reversed = matched(first, second, true);
    let (turned, pairs) = if median(&apart(&reversed)) < median(&apart(&straight)) {
        (true, reversed)
    } else {
        (false, straight)
    };
    let differences = apart(&pairs);
    if pairs.is_empty() || median(&differences) > ANOTHER_CARD {
        return Err(Error::Refused(
            "The second scan looks like another card. Choose a scan of the same one.".into(),
        ));
    }
    let agree = deviations(&pairs) <= AGREE;
    let spread = if agree { [0.0; 3] } else { spread(&pairs) };
    let mut sampled = first.clone();
    sampled.pooled = pairs
        .iter()
        .map(|pair| mean_cell(first, pair, spread))
        .collect();
    sampled.white = mean_bare(first, &first.white, &second.white, spread);
    sampled.black = mean_bare(first, &first.black, &second.black, spread);
    sampled.evenness = (0..films)
        .map(|film| {
            let other = if turned { films - 1 - film } else { film };
            0.5 * (first.evenness[film] + second.evenness[other])
        })
        .collect();
    Ok(Joined {
        sampled,
        differences,
        turned,
        agree,
    })
}

impl Joined {
    /// CIEDE2000 between the two in the median cell.
    pub fn median(&self) -> f64 {
        median(&self.differences)
    }
}

type Pair<'a> = (&'a PooledCell, &'a PooledCell);

/// Cells of the same film and ground.
fn matched<'a>(first: &'a Sampled, second: &'a Sampled, turned: bool) -> Vec<Pair<'a>> {
    let films = first.evenness.len();
    let pair = |cell: &'a PooledCell| {
        let film = if turned {
            films - 1 - cell.film
        } else {
            cell.film
        };
        let other = second
            .pooled
            .iter()
            .find(|other| other.film == film && other.ground == cell.ground)?;
        Some((cell, other))
    };
    first.pooled.iter().filter_map(pair).collect()
}

fn apart(pairs: &[Pair]) -> Vec<f64> {
    let lab = |cell: &PooledCell| colour::lab(Xyz::new(cell.xyz[0], cell.xyz[1], cell.xyz[2]));
    pairs
        .iter()
        .map(|(a, b)| colour::difference(lab(a), lab(b)))
        .collect()
}

/// The middle value, infinite of none.
fn median(values: &[f64]) -> f64 {
    if values.is_empty() {
        return f64::INFINITY;
    }
    cells::median(&mut values.to_vec())
}

fn root_mean_square(values: impl Iterator<Item = f64>) -> f64 {
    let (sum, count) = values.fold((0.0, 0.0), |(sum, count), v| (sum + v * v, count + 1.0));
    if count > 0.0 {
        (sum / count).sqrt()
    } else {
        0.0
    }
}

/// Differences in standard deviations.
fn deviations(pairs: &[Pair]) -> f64 {
    root_mean_square(pairs.iter().flat_map(|(a, b)| {
        (0..3).map(move |axis| {
            let sd = |cell: &PooledCell| reading::cell_sd(cell.xyz_sd[axis], cell.xyz[axis]);
            (a.xyz[axis] - b.xyz[axis]) / sd(a).hypot(sd(b))
        })
    }))
}

/// Standard deviation of one scan as a share of value + [`DARK`]: two values spread by their difference over root two.
fn spread(pairs: &[Pair]) -> [f64; 3] {
    std::array::from_fn(|axis| {
        root_mean_square(pairs.iter().map(|(a, b)| {
            let level = 0.5 * (a.xyz[axis] + b.xyz[axis]).max(0.0) + DARK;
            (a.xyz[axis] - b.xyz[axis]) / level / std::f64::consts::SQRT_2
        }))
    })
}

/// Mean of two values by their errors, with the mean's own; a spread common to both makes them equal partners.
fn mean(a: (f64, f64), b: (f64, f64), spread: f64) -> (f64, f64) {
    let extra = spread * (0.5 * (a.0 + b.0).max(0.0) + DARK);
    // A cell without scatter must not outweigh the other without end.
    let variance = |sd: f64| sd.max(1e-5).powi(2) + extra * extra;
    let (va, vb) = (variance(a.1), variance(b.1));
    (
        (a.0 * vb + b.0 * va) / (va + vb),
        (va * vb / (va + vb)).sqrt(),
    )
}

fn mean3(
    a: [f64; 3],
    a_sd: [f64; 3],
    b: [f64; 3],
    b_sd: [f64; 3],
    spread: [f64; 3],
) -> ([f64; 3], [f64; 3]) {
    let both: [(f64, f64); 3] =
        std::array::from_fn(|i| mean((a[i], a_sd[i]), (b[i], b_sd[i]), spread[i]));
    (both.map(|(value, _)| value), both.map(|(_, sd)| sd))
}

/// XYZ in the first scan's additive space: the second may have another profile.
fn additive(first: &Sampled, xyz: [f64; 3]) -> [f64; 3] {
    let rows = nalgebra::Matrix3::from_fn(|i, j| first.to_xyz[i][j]);
    let inverse = rows
        .try_inverse()
        .unwrap_or_else(nalgebra::Matrix3::identity);
    let v = inverse * nalgebra::Vector3::from(xyz);
    [v[0], v[1], v[2]]
}

fn mean_cell(first: &Sampled, (a, b): &Pair, spread: [f64; 3]) -> PooledCell {
    let (xyz, xyz_sd) = mean3(a.xyz, a.xyz_sd, b.xyz, b.xyz_sd, spread);
    let widest = spread.into_iter().fold(0.0, f64::max);
    let most = |a: [f64; 3], b: [f64; 3]| std::array::from_fn(|c| a[c].max(b[c]));
    let additive = additive(first, xyz);
    PooledCell {
        film: a.film,
        ground: a.ground,
        additive,
        additive_sd: std::array::from_fn(|c| {
            (a.additive_sd[c])
                .hypot(widest * (additive[c].max(0.0) + DARK) / std::f64::consts::SQRT_2)
        }),
        // Clipped in one of them is clipped: the mean would be a value that neither saw.
        clipped_low: most(a.clipped_low, b.clipped_low),
        clipped_high: most(a.clipped_high, b.clipped_high),
        xyz,
        xyz_sd,
        pixels: a.pixels + b.pixels,
        rejected_share: 0.5 * (a.rejected_share + b.rejected_share),
    }
}

fn mean_bare(first: &Sampled, a: &BareStripe, b: &BareStripe, spread: [f64; 3]) -> BareStripe {
    let (xyz, xyz_sd) = mean3(a.xyz, a.xyz_sd, b.xyz, b.xyz_sd, spread);
    let most = |a: [f64; 3], b: [f64; 3]| std::array::from_fn(|c| a[c].max(b[c]));
    BareStripe {
        additive: additive(first, xyz),
        xyz,
        xyz_sd,
        clipped_low: most(a.clipped_low, b.clipped_low),
        clipped_high: most(a.clipped_high, b.clipped_high),
        pixels: a.pixels + b.pixels,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::card::{Ground, cells::Levelled};

    fn cell(film: usize, ground: Ground, y: f64) -> PooledCell {
        PooledCell {
            film,
            ground,
            additive: [y; 3],
            additive_sd: [0.001; 3],
            clipped_low: [0.0; 3],
            clipped_high: [0.0; 3],
            xyz: [y; 3],
            xyz_sd: [0.001; 3],
            pixels: 1000,
            rejected_share: 0.0,
        }
    }

    fn bare(y: f64) -> BareStripe {
        BareStripe {
            additive: [y; 3],
            xyz: [y; 3],
            xyz_sd: [0.001; 3],
            clipped_low: [0.0; 3],
            clipped_high: [0.0; 3],
            pixels: 1000,
        }
    }

    /// Films of these reflectances over white, half as much over black.
    fn card(films: &[f64]) -> Sampled {
        let pooled = films.iter().enumerate().flat_map(|(film, &y)| {
            [
                cell(film, Ground::White, y),
                cell(film, Ground::Black, 0.5 * y),
            ]
        });
        Sampled {
            crossings: Vec::new(),
            pooled: pooled.collect(),
            white: bare(0.84),
            black: bare(0.04),
            evenness: vec![0.1; films.len()],
            units: vec![true; films.len()],
            to_xyz: [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
            levelled: Levelled {
                shading: 0.0,
                glare: 0.0,
                black_differs: 0.0,
            },
        }
    }

    #[test]
    fn two_scans_that_agree_are_averaged_and_surer() {
        let joined = join(&card(&[0.6, 0.4, 0.2]), &card(&[0.602, 0.401, 0.2])).unwrap();
        assert!(joined.agree && !joined.turned);
        let first = &joined.sampled.pooled[0];
        assert!((first.xyz[1] - 0.601).abs() < 1e-9);
        assert!((first.xyz_sd[1] - 0.001 / 2.0_f64.sqrt()).abs() < 1e-9);
        assert_eq!(first.pixels, 2000);
        assert!(joined.differences.iter().all(|d| *d < 0.5));
    }

    #[test]
    fn a_card_turned_half_round_is_recognised() {
        let joined = join(&card(&[0.6, 0.4, 0.2]), &card(&[0.2, 0.4, 0.6])).unwrap();
        assert!(joined.turned && joined.agree);
        assert!((joined.sampled.pooled[0].xyz[1] - 0.6).abs() < 1e-9);
    }

    #[test]
    fn a_difference_becomes_the_scanners_own_spread() {
        let joined = join(&card(&[0.6, 0.4, 0.2]), &card(&[0.66, 0.44, 0.22])).unwrap();
        assert!(!joined.agree);
        let first = &joined.sampled.pooled[0];
        assert!((first.xyz[1] - 0.63).abs() < 1e-3);
        // Half the difference is the standard error of a mean of two.
        assert!(
            (0.02..0.04).contains(&first.xyz_sd[1]),
            "{}",
            first.xyz_sd[1]
        );
        assert!(joined.differences[0] > 1.0);
    }

    #[test]
    fn another_card_is_refused() {
        let other = join(&card(&[0.6, 0.4]), &card(&[0.05, 0.03])).unwrap_err();
        assert!(other.to_string().contains("another card"));
        let fewer = join(&card(&[0.6, 0.4]), &card(&[0.6])).unwrap_err();
        assert!(fewer.to_string().contains("1 films were found, here 2"));
    }
}
