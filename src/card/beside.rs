//! What happens right beside the edges between bare black and bare white: halos of sharpening, ink carried over.

use super::{Ground, Layout, cells, rectify::Frame};
use crate::scan::Scan;

/// What white stripes look like near their edges.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Beside {
    /// How much brighter white is within a few pixels of black than further in, as a share.
    pub halo: f64,
    /// How much darker white is about a mm from black on one side than on the other, as a share.
    pub smear: f64,
}

/// How far a halo is looked for, in pixels: past the blur of lens and file, as far as drivers sharpen.
const HALO_PIXELS: f64 = 7.0;
/// Where smeared ink is looked for, in mm: past blur and waviness.
const SMEAR_MM: [f64; 2] = [0.8, 1.6];
/// How far in undisturbed white begins, in mm, or at most half the stripe; not further, for the light falls off.
const INSIDE_MM: f64 = 5.0;
/// How far from films and ends rows must be, in mm.
const CLEAR_MM: f64 = 1.0;
/// A stripe's width where the scan's resolution is not known, in mm.
const USUAL_STRIPE_MM: f64 = 15.0;
/// Rows that a value is the median of, at least.
const FEWEST_ROWS: usize = 8;

/// Looks beside every edge between a black and a white stripe. `None` where no bare white shows.
pub fn beside(scan: &Scan, layout: &Layout) -> Option<Beside> {
    let frame = Frame::of(layout)?;
    let mm = if layout.millimetres {
        1.0
    } else {
        1.0 / USUAL_STRIPE_MM
    };
    let middle = layout.size.map(|s| 0.5 * s);
    let (a, b) = (
        frame.to_scan(middle),
        frame.to_scan([middle[0] + mm, middle[1]]),
    );
    let pixel = mm / libm::hypot(b[0] - a[0], b[1] - a[1]).max(1e-9);
    let mut halos = Vec::new();
    // Left and right sides of white stripes: a knife carries ink one way.
    let mut darker: [Vec<f64>; 2] = Default::default();
    for pair in layout.stripes.windows(2) {
        let (edge, white, outward, side) = match (pair[0].ground, pair[1].ground) {
            (Ground::Black, Ground::White) => (pair[0].to, &pair[1], 1.0, 0),
            (Ground::White, Ground::Black) => (pair[1].from, &pair[0], -1.0, 1),
            _ => continue,
        };
        let rows = rows(layout, edge, mm, pixel);
        let at = |d: f64| brightness(scan, &frame, edge + outward * d, &rows);
        let inside = (INSIDE_MM * mm).min(0.5 * (white.to - white.from));
        let Some(inner) = mean(&[0.9, 1.0, 1.1].map(|t| at(t * inside))).filter(|v| *v > 0.0)
        else {
            continue;
        };
        let steps = (2.0 * HALO_PIXELS.min(0.8 * inside / pixel)) as usize;
        let near = (2..=steps).filter_map(|k| at(0.5 * k as f64 * pixel));
        halos.push(near.fold(0.0, f64::max) / inner - 1.0);
        let [from, to] = SMEAR_MM.map(|d| (d * mm).min(0.8 * inside));
        if let Some(value) = mean(&[from, 0.5 * (from + to), to].map(at)) {
            darker[side].push(1.0 - value / inner);
        }
    }
    let middle = |mut values: Vec<f64>| (!values.is_empty()).then(|| cells::median(&mut values));
    let [left, right] = darker.map(middle);
    Some(Beside {
        halo: middle(halos)?.max(0.0),
        smear: match (left, right) {
            (Some(left), Some(right)) => (left - right).abs(),
            _ => 0.0,
        },
    })
}

/// Positions along the card where the stripes at `u` are bare.
fn rows(layout: &Layout, u: f64, mm: f64, pixel: f64) -> Vec<f64> {
    let at = |left: f64, right: f64| left + (right - left) * u / layout.size[0];
    let mut edges = vec![0.0];
    for film in &layout.films {
        edges.push(at(film.top.left, film.top.right));
        edges.push(at(film.bottom.left, film.bottom.right));
    }
    edges.push(layout.size[1]);
    let bare = edges
        .chunks_exact(2)
        .map(|gap| [gap[0] + CLEAR_MM * mm, gap[1] - CLEAR_MM * mm]);
    bare.filter(|[from, to]| to > from)
        .flat_map(|[from, to]| {
            let count = ((to - from) / pixel).clamp(1.0, 80.0) as usize;
            (0..count).map(move |i| from + (to - from) * (i as f64 + 0.5) / count as f64)
        })
        .collect()
}

/// Median over rows of the light at one position across, channels together.
fn brightness(scan: &Scan, frame: &Frame, u: f64, rows: &[f64]) -> Option<f64> {
    let mut seen: Vec<f64> = rows
        .iter()
        .map(|&v| frame.to_scan([u, v]))
        .filter(|&[x, y]| x >= 0.0 && y >= 0.0 && x < scan.width as f64 && y < scan.height as f64)
        .map(|[x, y]| {
            let value = scan.profile.additive_of(scan.code(x as usize, y as usize));
            value.iter().sum::<f64>() / 3.0
        })
        .collect();
    if seen.len() < FEWEST_ROWS {
        return None;
    }
    Some(cells::median(&mut seen))
}

fn mean(values: &[Option<f64>]) -> Option<f64> {
    let seen: Vec<f64> = values.iter().copied().flatten().collect();
    (!seen.is_empty()).then(|| seen.iter().sum::<f64>() / seen.len() as f64)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::card::fixture;

    #[test]
    fn plain_edges_have_neither() {
        let seen = beside(&fixture::scan(true, fixture::card), &fixture::layout()).unwrap();
        assert!(seen.halo < 0.005 && seen.smear < 0.005, "{seen:?}");
    }

    #[test]
    fn a_bright_rim_is_a_halo() {
        let rimmed = |at: [f64; 2]| {
            let edge = (at[0] / 15.0).round() * 15.0;
            let near = (at[0] - edge).abs() < 0.5;
            fixture::card(at).map(|v| if near && v > 0.5 { 1.1 * v } else { v })
        };
        let seen = beside(&fixture::scan(true, rimmed), &fixture::layout()).unwrap();
        assert!((seen.halo - 0.1).abs() < 0.02, "{seen:?}");
        assert!(seen.smear < 0.005);
    }

    #[test]
    fn ink_carried_one_way_is_a_smear() {
        // Black lies left of the white that begins at 30 mm.
        let smeared = |at: [f64; 2]| {
            let over = at[0] - 30.0;
            let white = (0.0..15.0).contains(&over);
            let share = if white {
                0.2 * libm::exp(-over / 1.5)
            } else {
                0.0
            };
            fixture::card(at).map(|v| v * (1.0 - share))
        };
        let seen = beside(&fixture::scan(true, smeared), &fixture::layout()).unwrap();
        // 0.2 exp(-1.2 / 1.5).
        assert!((seen.smear - 0.09).abs() < 0.02, "{seen:?}");
        assert!(seen.halo < 0.01);
    }
}
