//! What a card measures: the inside of every crossing of film and stripe, the bare stripes beside them, and both levelled.
//!
//! 1. [`zones`]: which part of the scan belongs to which cell, and its pixels as means of small blocks.
//! 2. [`robust`]: dust, hairs, bubbles and ridges out; mean, spread and an honest standard error.
//! 3. [`level`]: shading and glare, seen on the bare white stripes, taken out of everything.
//! 4. [`reach`]: stripes that a film does not reach, out.
//! 5. Crossings of one film over one ground pooled.
//!
//! Averages are of light: in the profile's additive space, never of encoded numbers.

mod level;
mod reach;
mod robust;
mod zones;

use level::{Levelling, Sight};
use robust::Summary;
pub(crate) use robust::median;
use zones::{Place, Zone, Zones};

use super::{Ground, Layout};
use crate::{Error, Result, scan::Scan};

/// One film over one stripe.
#[derive(Debug, Clone, PartialEq)]
pub struct Crossing {
    /// Index into the layout's films.
    pub film: usize,
    /// Index into its stripes.
    pub stripe: usize,
    /// White or black.
    pub ground: Ground,
    /// Mean in the profile's additive space, levelled.
    pub additive: [f64; 3],
    /// Standard deviation of that mean.
    pub additive_sd: [f64; 3],
    /// Spread of its parts, about 2 mm wide, around that mean.
    pub spread: [f64; 3],
    /// The same stripe bare, just above and below the film, levelled; absent where there is no bare stripe on either side.
    pub bare: Option<[f64; 3]>,
    /// Share of pixels at the channel's lower end, 0 to 1.
    pub clipped_low: [f64; 3],
    /// Share at its upper end.
    pub clipped_high: [f64; 3],
    /// Pixels averaged.
    pub pixels: u64,
    /// Share of the cell left out, 0 to 1.
    pub rejected_share: f64,
    /// Whether the film reaches this stripe; otherwise the crossing is not pooled.
    pub reached: bool,
}

/// One film over one ground, crossings pooled.
#[derive(Debug, Clone, PartialEq)]
pub struct PooledCell {
    /// Index into the layout's films.
    pub film: usize,
    /// White or black.
    pub ground: Ground,
    /// Mean in the profile's additive space.
    pub additive: [f64; 3],
    /// Standard deviation of that mean: pixels, unevenness and crossings that differ. What all cells share is not in it.
    pub additive_sd: [f64; 3],
    /// Share of pixels at the scanner channel's lower end. For table profiles the largest of the three, three times.
    pub clipped_low: [f64; 3],
    /// Share of pixels at its upper end.
    pub clipped_high: [f64; 3],
    /// XYZ of the mean.
    pub xyz: [f64; 3],
    /// Standard deviation of `xyz`.
    pub xyz_sd: [f64; 3],
    /// Pixels averaged.
    pub pixels: u64,
    /// Share left out.
    pub rejected_share: f64,
}

impl PooledCell {
    /// Largest share of pixels that any channel has at either end.
    pub fn clipped(&self) -> f64 {
        let shares = self.clipped_low.iter().chain(&self.clipped_high);
        shares.copied().fold(0.0, f64::max)
    }
}

/// A bare stripe colour.
#[derive(Debug, Clone, PartialEq)]
pub struct BareStripe {
    /// Mean in the profile's additive space.
    pub additive: [f64; 3],
    /// XYZ.
    pub xyz: [f64; 3],
    /// Standard deviation of the mean.
    pub xyz_sd: [f64; 3],
    /// Share of pixels at the channel's lower end.
    pub clipped_low: [f64; 3],
    /// Share at its upper end.
    pub clipped_high: [f64; 3],
    /// Pixels averaged.
    pub pixels: u64,
}

/// What a card measures.
#[derive(Debug, Clone, PartialEq)]
pub struct Sampled {
    /// Every film over every stripe where there is room to measure.
    pub crossings: Vec<Crossing>,
    /// Pooled by film and ground, films from top to bottom, white before black.
    pub pooled: Vec<PooledCell>,
    /// Bare white.
    pub white: BareStripe,
    /// Bare black.
    pub black: BareStripe,
    /// How uneven each film is: spread inside it as a share of what it does to the stripe it changes most.
    pub evenness: Vec<f64>,
    /// Which films the card may count in: those that were drawn, not a brushed coat.
    pub units: Vec<bool>,
    /// Rows X, Y, Z: additive space to XYZ.
    pub to_xyz: [[f64; 3]; 3],
    /// What was levelled.
    pub levelled: Levelled,
}

/// What levelling found and took away.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Levelled {
    /// Largest difference that shading made between two places of the card, as a share.
    pub shading: f64,
    /// Light returned from the surroundings that was assumed, as a share of the lamp's.
    pub glare: f64,
    /// How much the bare black stripes still differ from place to place, as a share (robust standard deviation).
    pub black_differs: f64,
}

impl Sampled {
    /// The same with all light multiplied by `factor`: for a white that is known better than the scan knows it.
    pub fn scaled(mut self, factor: f64) -> Self {
        let scale = |values: &mut [f64; 3]| values.iter_mut().for_each(|v| *v *= factor);
        for crossing in &mut self.crossings {
            scale(&mut crossing.additive);
            scale(&mut crossing.additive_sd);
            scale(&mut crossing.spread);
            crossing.bare.iter_mut().for_each(scale);
        }
        for cell in &mut self.pooled {
            scale(&mut cell.additive);
            scale(&mut cell.additive_sd);
            scale(&mut cell.xyz);
            scale(&mut cell.xyz_sd);
        }
        for bare in [&mut self.white, &mut self.black] {
            scale(&mut bare.additive);
            scale(&mut bare.xyz);
            scale(&mut bare.xyz_sd);
        }
        self
    }

    /// The same of these films alone, in this order. Films that it does not have are passed over.
    pub fn only(&self, films: &[usize]) -> Self {
        let films: Vec<usize> = films
            .iter()
            .copied()
            .filter(|&film| film < self.evenness.len())
            .collect();
        let pooled = films.iter().enumerate().flat_map(|(number, &film)| {
            let cells = self.pooled.iter().filter(move |cell| cell.film == film);
            cells.map(move |cell| PooledCell {
                film: number,
                ..cell.clone()
            })
        });
        let crossings = films.iter().enumerate().flat_map(|(number, &film)| {
            let all = self.crossings.iter().filter(move |c| c.film == film);
            all.map(move |crossing| Crossing {
                film: number,
                ..crossing.clone()
            })
        });
        Self {
            pooled: pooled.collect(),
            crossings: crossings.collect(),
            evenness: films.iter().map(|&film| self.evenness[film]).collect(),
            units: films.iter().map(|&film| self.units[film]).collect(),
            ..self.clone()
        }
    }

    /// How far each film takes its cells from the bare stripes, in logarithms, summed over X, Y, Z and both grounds: larger
    /// for thicker films.
    pub fn depths(&self) -> Vec<f64> {
        let mut depths = vec![0.0; self.evenness.len()];
        for cell in &self.pooled {
            let bare = match cell.ground {
                Ground::White => &self.white.xyz,
                Ground::Black => &self.black.xyz,
            };
            for axis in 0..3 {
                // 0.01 keeps the noise of dark cells from counting as depth.
                let ratio = (cell.xyz[axis].max(0.0) + 0.01) / (bare[axis].max(0.0) + 0.01);
                depths[cell.film] += libm::log(ratio).abs();
            }
        }
        depths
    }
}

/// The part of one film over one stripe that [`sample`] measures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outline {
    /// Index of the film.
    pub film: usize,
    /// Index of the stripe.
    pub stripe: usize,
    /// What lies under it.
    pub ground: Ground,
    /// Corners on the card, clockwise from the top left.
    pub corners: [[f64; 2]; 4],
}

/// Outlines of all cells that have room to be measured.
///
/// # Errors
/// Those of [`sample`] for an outline that is out of order.
pub fn outlines(scan: &Scan, layout: &Layout) -> Result<Vec<Outline>> {
    Ok(Zones::new(scan, layout)?.outlines().collect())
}

/// Whether stripes and films of a layout follow each other on the card.
pub(crate) fn in_order(layout: &Layout) -> bool {
    zones::stripes_in_order(layout) && zones::films_in_order(layout)
}

/// Samples a card.
///
/// # Errors
/// [`Error::Layout`] when the outline has no room to measure: stripes or films out of order, no bare white or black, or a
/// film too narrow.
pub fn sample(scan: &Scan, layout: &Layout) -> Result<Sampled> {
    sample_counted(scan, layout, |_, _| true)
}

/// [`sample`], but only of those crossings (film, stripe) that `counts` names. A film none of whose crossings counts is not
/// among the films of the result, which are numbered without it; its place is still no bare stripe.
///
/// # Errors
/// Those of [`sample`], also for a film that counts over one ground only.
pub fn sample_counted(
    scan: &Scan,
    layout: &Layout,
    counts: impl Fn(usize, usize) -> bool,
) -> Result<Sampled> {
    let counted: Vec<usize> = (0..layout.films.len())
        .filter(|&film| (0..layout.stripes.len()).any(|stripe| counts(film, stripe)))
        .collect();
    let zones = Zones::new(scan, layout)?;
    let cells = zones.read(scan);
    let bare: Vec<(Place, Summary)> = cells
        .iter()
        .filter(|cell| matches!(cell.place.zone, Zone::Bare { .. }))
        .filter_map(|cell| Some((cell.place, robust::summarise(cell, scan)?)))
        .collect();
    let ground = |place: &Place| layout.stripes[place.stripe].ground;
    let sights: Vec<Sight> = bare
        .iter()
        .filter(|(place, _)| ground(place) == Ground::White)
        .map(|(place, seen)| Sight {
            at: place.centre,
            value: seen.mean,
            sd: seen.sd,
            clipped: seen.clipped_high,
        })
        .collect();
    let levelling = Levelling::new(&sights, scan, layout, &zones.frame);
    let levelled = |place: &Place, seen: Summary| levelling.apply(place.centre, seen);

    let bare: Vec<(Place, Summary)> = bare
        .into_iter()
        .map(|(place, seen)| (place, levelled(&place, seen)))
        .collect();
    let white = bare_stripe(
        scan,
        bare.iter()
            .filter(|(place, _)| ground(place) == Ground::White),
    )
    .ok_or_else(|| no_bare("white"))?;
    let black = bare_stripe(
        scan,
        bare.iter()
            .filter(|(place, _)| ground(place) == Ground::Black),
    )
    .ok_or_else(|| no_bare("black"))?;

    let black_differs = differing(
        bare.iter()
            .filter(|(place, _)| ground(place) == Ground::Black)
            .map(|(_, seen)| seen.mean.iter().sum()),
    );

    let mut crossings = Vec::new();
    let mut parts = Vec::new();
    for cell in &cells {
        let Zone::Film { film } = cell.place.zone else {
            continue;
        };
        let Some(number) = counted.iter().position(|&i| i == film) else {
            continue;
        };
        if !counts(film, cell.place.stripe) {
            continue;
        }
        let Some(seen) = robust::summarise(cell, scan) else {
            continue;
        };
        let seen = levelled(&cell.place, seen);
        crossings.push(Crossing {
            film: number,
            ..crossing(layout, &cell.place, film, &seen, &bare)
        });
        parts.push(seen);
    }
    for film in 0..counted.len() {
        let of_film: Vec<&Crossing> = crossings
            .iter()
            .filter(|crossing| crossing.film == film)
            .collect();
        let reached = reach::reach(&of_film, &white, &black);
        let of_film = crossings
            .iter_mut()
            .filter(|crossing| crossing.film == film);
        of_film.for_each(|crossing| crossing.reached = reached.contains(&crossing.stripe));
    }
    let mut pooled = Vec::new();
    for film in 0..counted.len() {
        for side in [Ground::White, Ground::Black] {
            let counts = |crossing: &Crossing| {
                crossing.film == film && crossing.ground == side && crossing.reached
            };
            let seen = crossings
                .iter()
                .zip(&parts)
                .filter(|(crossing, _)| counts(crossing));
            let seen: Vec<&Summary> = seen.map(|(_, seen)| seen).collect();
            pooled.push(pool(scan, film, side, &seen).ok_or_else(|| no_room(counted[film], side))?);
        }
    }
    let evenness = (0..counted.len())
        .map(|film| unevenness(film, &crossings, &white, &black))
        .collect();
    Ok(Sampled {
        crossings,
        pooled,
        white,
        black,
        evenness,
        units: counted
            .iter()
            .map(|&film| !layout.films[film].brushed)
            .collect(),
        to_xyz: scan.profile.to_xyz(),
        levelled: Levelled {
            black_differs,
            ..levelling.summary()
        },
    })
}

/// Robust standard deviation of values as a share of their median; 0 of fewer than four.
fn differing(values: impl Iterator<Item = f64>) -> f64 {
    let mut values: Vec<f64> = values.collect();
    if values.len() < 4 {
        return 0.0;
    }
    let middle = robust::median(&mut values).max(1e-6);
    values.iter_mut().for_each(|v| *v = (*v - middle).abs());
    robust::PER_MAD * robust::median(&mut values) / middle
}

fn no_bare(what: &str) -> Error {
    Error::Layout(format!(
        "no bare {what} stripe is left beside the films. Move the films’ edges so that some shows."
    ))
}

fn no_room(film: usize, ground: Ground) -> Error {
    let side = if ground == Ground::White {
        "white"
    } else {
        "black"
    };
    Error::Layout(format!(
        "film {} has no room to measure over {side}. Move its edges apart, or take it away.",
        film + 1
    ))
}

fn crossing(
    layout: &Layout,
    place: &Place,
    film: usize,
    seen: &Summary,
    bare: &[(Place, Summary)],
) -> Crossing {
    // The gap above film i is gap i, the one below it i + 1.
    let beside = |gap: usize| {
        bare.iter()
            .filter(|(other, _)| {
                other.stripe == place.stripe
                    && matches!(other.zone, Zone::Bare { gap: g, .. } if g == gap)
            })
            .min_by(|(a, _), (b, _)| {
                let far = |other: &Place| (other.centre[1] - place.centre[1]).abs();
                far(a).total_cmp(&far(b))
            })
            .map(|(_, seen)| seen.mean)
    };
    let bare = match (beside(film), beside(film + 1)) {
        (Some(above), Some(below)) => Some(std::array::from_fn(|c| 0.5 * (above[c] + below[c]))),
        (above, below) => above.or(below),
    };
    Crossing {
        film,
        stripe: place.stripe,
        ground: layout.stripes[place.stripe].ground,
        additive: seen.mean,
        additive_sd: seen.sd,
        spread: seen.spread,
        bare,
        clipped_low: seen.clipped_low,
        clipped_high: seen.clipped_high,
        pixels: seen.pixels,
        rejected_share: seen.rejected_share,
        reached: true,
    }
}

/// Sums weighted by pixels that crossings and bare pieces share.
struct Tally {
    pixels: u64,
    rejected_share: f64,
    clipped_low: [f64; 3],
    clipped_high: [f64; 3],
}

impl Tally {
    fn of(scan: &Scan, seen: &[&Summary]) -> Self {
        let pixels: u64 = seen.iter().map(|s| s.pixels).sum();
        let weighted = |of: &dyn Fn(&Summary) -> f64| {
            seen.iter().map(|s| of(s) * s.pixels as f64).sum::<f64>() / pixels.max(1) as f64
        };
        let mut tally = Self {
            pixels,
            rejected_share: weighted(&|s| s.rejected_share),
            clipped_low: std::array::from_fn(|c| weighted(&|s| s.clipped_low[c])),
            clipped_high: std::array::from_fn(|c| weighted(&|s| s.clipped_high[c])),
        };
        if !scan.profile.additive_is_device() {
            // X, Y and Z of a table profile all depend on every channel.
            tally.clipped_low = [tally.clipped_low.into_iter().fold(0.0, f64::max); 3];
            tally.clipped_high = [tally.clipped_high.into_iter().fold(0.0, f64::max); 3];
        }
        tally
    }
}

fn pool(scan: &Scan, film: usize, ground: Ground, seen: &[&Summary]) -> Option<PooledCell> {
    let pooled = robust::pool(seen, &scan.profile.to_xyz())?;
    let tally = Tally::of(scan, seen);
    Some(PooledCell {
        film,
        ground,
        additive: pooled.additive,
        additive_sd: pooled.additive_sd,
        clipped_low: tally.clipped_low,
        clipped_high: tally.clipped_high,
        xyz: pooled.xyz,
        xyz_sd: pooled.xyz_sd,
        pixels: tally.pixels,
        rejected_share: tally.rejected_share,
    })
}

fn bare_stripe<'a>(
    scan: &Scan,
    seen: impl Iterator<Item = &'a (Place, Summary)>,
) -> Option<BareStripe> {
    let seen: Vec<&Summary> = seen.map(|(_, seen)| seen).collect();
    let pooled = robust::pool(&seen, &scan.profile.to_xyz())?;
    let tally = Tally::of(scan, &seen);
    Some(BareStripe {
        additive: pooled.additive,
        xyz: pooled.xyz,
        xyz_sd: pooled.xyz_sd,
        clipped_low: tally.clipped_low,
        clipped_high: tally.clipped_high,
        pixels: tally.pixels,
    })
}

/// Spread inside a film as a share of what it does: on the ground and in the channel that it changes most, the parts of all
/// crossings about the mean of the film, over the distance of that mean from the bare stripe.
fn unevenness(film: usize, crossings: &[Crossing], white: &BareStripe, black: &BareStripe) -> f64 {
    let mut largest = (0.0, 0.0);
    for (ground, bare) in [(Ground::White, white), (Ground::Black, black)] {
        let over: Vec<&Crossing> = crossings
            .iter()
            .filter(|c| c.film == film && c.ground == ground && c.reached)
            .collect();
        if over.is_empty() {
            continue;
        }
        let count = over.len() as f64;
        for c in 0..3 {
            let mean = over.iter().map(|o| o.additive[c]).sum::<f64>() / count;
            let within = over.iter().map(|o| o.spread[c] * o.spread[c]).sum::<f64>() / count;
            let between = over
                .iter()
                .map(|o| (o.additive[c] - mean) * (o.additive[c] - mean))
                .sum::<f64>()
                / count;
            let change = (mean - bare.additive[c]).abs();
            if change > largest.0 {
                largest = (change, (within + between).sqrt() / change);
            }
        }
    }
    largest.1
}

#[cfg(test)]
mod tests;
