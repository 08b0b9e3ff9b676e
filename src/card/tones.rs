//! What a card's tones are measured by: its white and its black, where the scan's own cannot be relied on.

pub mod black;
pub mod white;

use super::{Layout, cells::Sampled};
use crate::scan::Scan;
use black::Zero;
use white::Level;

/// What lightness and darkness of a card are measured by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tones {
    /// How light it is altogether.
    pub level: Level,
    /// What no light is.
    pub zero: Zero,
}

impl Tones {
    /// The scanner's own white and zero.
    pub const SCANNER: Self = Self {
        level: Level::Scanner,
        zero: Zero::Scanner,
    };

    /// From what the picture shows, and from the white stripe's L* where it was measured. `sampled` as the scan has it.
    pub fn of(scan: &Scan, layout: &Layout, sampled: &Sampled, measured: Option<f64>) -> Self {
        let zero = Zero::of(sampled);
        Self {
            level: Level::of(scan, layout, sampled, zero, measured),
            zero,
        }
    }

    /// The cells by these tones, from those of the scan.
    pub fn applied(self, sampled: Sampled) -> Sampled {
        self.level.applied(self.zero.applied(sampled))
    }

    /// Whether something was guessed, so that the scan's own tones are no longer in the cells.
    pub fn guessed(self) -> bool {
        matches!(self.level, Level::Usual(_)) || matches!(self.zero, Zero::Usual { .. })
    }
}
