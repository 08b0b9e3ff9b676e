//! What bare black and bare white look like on one card.

use super::super::{
    bars::{Bar, median},
    picture::{Picture, brightest},
};
use crate::order::sort_by_number;

/// Bare black (brightest channel) and bare white (all three).
#[derive(Debug, Clone, Copy)]
pub(in crate::card::find) struct Levels {
    pub(in crate::card::find) black: f32,
    pub(in crate::card::find) white: [f32; 3],
}

impl Levels {
    /// Brightness that lies a share of the way from black to white.
    pub(in crate::card::find) fn between(&self, share: f32) -> f32 {
        self.black + share * self.contrast()
    }

    pub(in crate::card::find) fn contrast(&self) -> f32 {
        brightest(&self.white) - self.black
    }

    /// Largest deviation of a channel from white, relative to white.
    pub(in crate::card::find) fn off_white(&self, rgb: [f32; 3]) -> f32 {
        let off = |c: usize| (rgb[c] - self.white[c]).abs() / self.white[c].max(0.05);
        off(0).max(off(1)).max(off(2))
    }

    pub(in crate::card::find) fn is_black(&self, rgb: [f32; 3]) -> bool {
        brightest(&rgb) < self.between(0.3)
    }

    pub(super) fn is_white(&self, rgb: [f32; 3]) -> bool {
        self.off_white(rgb) < 0.15
    }
}

/// Bare black and white from the bars' insides and what lies right beside them.
pub(super) fn levels(picture: &Picture, group: &[Bar]) -> Option<Levels> {
    let mut darks: Vec<f32> = group.iter().map(|b| b.dark).collect();
    darks.sort_unstable_by(f32::total_cmp);
    let mut beside: Vec<[f32; 3]> = Vec::new();
    for bar in group {
        let rows = (bar.length / 4.0).ceil().clamp(3.0, 60.0);
        for side in [-1.0, 1.0] {
            for k in 0..rows as usize {
                let v = ((k as f64 + 0.5) / rows - 0.5) * bar.length;
                let p = bar.centre
                    + bar.across * side * (bar.width / 2.0 + (0.15 * bar.width).max(3.0))
                    + bar.along() * v;
                if picture.holds(p.x, p.y) {
                    beside.push(picture.sample(p.x, p.y));
                }
            }
        }
    }
    // Card white is the common colour among the brightest there, measured on the darkest channel so that paint counts as dark.
    sort_by_number(&mut beside, |seen| f64::from(least(seen)));
    let top = beside.get(beside.len() * 3 / 4..beside.len() * 97 / 100)?;
    if top.is_empty() {
        return None;
    }
    let white = std::array::from_fn(|c| median(&mut top.iter().map(|p| p[c]).collect::<Vec<_>>()));
    let levels = Levels {
        black: darks[darks.len() / 3],
        white,
    };
    (levels.contrast() > LEAST_CONTRAST * brightest(&levels.white)).then_some(levels)
}

/// Least contrast between black and white, in encoded numbers relative to white: shaded paper is no black stripe.
const LEAST_CONTRAST: f32 = 0.35;

fn least(rgb: &[f32; 3]) -> f32 {
    rgb[0].min(rgb[1]).min(rgb[2])
}
