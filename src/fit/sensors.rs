//! How scanners' and cameras' sensors differ from the eye, by group: what is usual, and what varies.
//!
//! A sensor and its driver's matrix make of light of each band something else than its XYZ. What they have in common within a group
//! is known before a card is read (a red filter that passes all long waves, three narrow lights), what varies is a covariance.
//! `cargo run --release --example make_sensors` draws the groups ([`crate::simulate::sensors`]) and stores both.

use std::sync::OnceLock;

use crate::spectrum::{BANDS, Bands};

/// `sensors.bin`: for each of [`Group::STORED`] the mean and [`PARTS`] parts of the spread, each as X, Y, Z by bands, in whole
/// [`UNIT`]s of 16 bits.
static STORED: &[u8] = include_bytes!("sensors.bin");
/// One unit in the last place of what is stored: far below what a cell can be measured to.
pub const UNIT: f64 = 1e-4;
/// Independent parts of a group's spread that are kept: more than 95 % of its variance.
pub const PARTS: usize = 12;

/// How much of what was drawn is believed (ours, chosen on rendered cards; see DEVELOPERS.md, *What sensors usually differ by*).
struct Belief {
    /// Share of the usual difference that counts as there.
    usual: f64,
    /// Standard deviation of what is left of it, as a share.
    doubt: f64,
    /// The spread is drawn from ranges of ours, and real sensors may lie outside: its variance is taken this much larger.
    wider: f64,
}

impl Belief {
    const fn of(group: Group) -> Self {
        match group {
            // Whose lights are where is too different for the whole of it: with all, and less doubt, ranges were up to twice as wide and
            // predictions no nearer.
            Group::Three => Self {
                usual: 0.4,
                doubt: 0.6,
                wider: 2.0,
            },
            _ => Self {
                usual: 1.0,
                doubt: 0.3,
                wider: 1.5,
            },
        }
    }
}

/// A driver that knows its sensor better than a matrix can leaves this share of the difference, either way (ours).
const GOOD: f64 = 0.25;

/// Groups of sensors that differ from the eye alike.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Group {
    /// Whatever it is, its driver knows it well.
    Good,
    /// White light from a lamp or a diode, seen through three filters.
    White,
    /// Three narrow lights, lit in turn.
    Three,
    /// A camera in even light.
    Camera,
    /// Filters, with nothing said of what is usual: what a fit goes by first.
    Any,
}

impl Group {
    /// Those that are stored, in that order.
    pub const STORED: [Self; 3] = [Self::White, Self::Three, Self::Camera];
}

/// Differences of sensors of one group: by X, Y and Z and by band, what is seen of light less what it is. A perfect diffuser is seen as
/// it is.
#[derive(Debug, Clone)]
pub struct Sensors {
    /// The usual difference.
    pub mean: [Bands; 3],
    /// Independent parts of what varies, one standard deviation each.
    pub spread: Vec<[Bands; 3]>,
}

impl Sensors {
    /// What is known of a group.
    pub fn of(group: Group) -> &'static Self {
        static ALL: OnceLock<[Sensors; 5]> = OnceLock::new();
        let groups = [
            Group::Good,
            Group::White,
            Group::Three,
            Group::Camera,
            Group::Any,
        ];
        let all = ALL.get_or_init(|| groups.map(Self::made));
        let at = groups.iter().position(|&g| g == group);
        &all[at.expect("every group is there")]
    }

    /// Mean and parts of the spread as they were drawn.
    ///
    /// # Panics
    /// For a group that is not among [`Group::STORED`].
    pub fn stored(group: Group) -> ([Bands; 3], Vec<[Bands; 3]>) {
        const CURVES: usize = 3 * BANDS;
        let at = Group::STORED.iter().position(|&g| g == group);
        let first = at.expect("a group that is stored") * (1 + PARTS) * CURVES;
        let number =
            |i: usize| UNIT * f64::from(i16::from_le_bytes([STORED[2 * i], STORED[2 * i + 1]]));
        let curves = |part: usize| -> [Bands; 3] {
            std::array::from_fn(|axis| {
                std::array::from_fn(|band| number(first + part * CURVES + axis * BANDS + band))
            })
        };
        (curves(0), (1..=PARTS).map(curves).collect())
    }

    fn made(group: Group) -> Self {
        let scaled =
            |curves: &[Bands; 3], by: f64| curves.map(|curve| curve.map(|value| by * value));
        let known = |group: Group| {
            let belief = Belief::of(group);
            let (mean, drawn) = Self::stored(group);
            let mut spread: Vec<_> = drawn
                .iter()
                .map(|part| scaled(part, belief.wider.sqrt()))
                .collect();
            spread.push(scaled(&mean, belief.doubt));
            Self {
                mean: scaled(&mean, belief.usual),
                spread,
            }
        };
        let either_way = |share: f64| {
            let Self { mean, mut spread } = known(Group::White);
            spread.push(mean);
            Self {
                mean: [[0.0; BANDS]; 3],
                spread: spread.iter().map(|part| scaled(part, share)).collect(),
            }
        };
        match group {
            Group::Good => either_way(GOOD),
            Group::Any => either_way(1.0),
            stored => known(stored),
        }
    }
}
