//! Milk on black by exact transport, and as cards of different films and noise give it.
#![allow(
    unreachable_pub,
    missing_docs,
    dead_code,
    reason = "shared by test programs that use different parts"
)]

use twoground::{
    colour::{self, Xyz},
    film::{surface, transport::Transport},
    fit::{self, Optics},
    paint::{
        Constants, Covariance,
        file::Grade,
        verdict::{self, GLAZE_DEPTH, Milk, NOMINAL_BLACK, NOMINAL_WHITE},
    },
    simulate::{InventedPaint, paints, random::Random},
    spectrum::{self, BANDS, Bands},
};

use crate::{score, sets, stacks};

/// Films of a card, thin to thick, as multiples of the paint's reference film.
const CARD: [f64; 3] = [0.46, 1.0, 2.3];

/// One paint at one anisotropy.
pub struct MilkPaint {
    pub paint: InventedPaint,
    pub anisotropy: f64,
}

/// Every invented paint, each at one anisotropy.
pub fn all() -> Vec<MilkPaint> {
    paints::all()
        .into_iter()
        .enumerate()
        .map(|(i, paint)| MilkPaint {
            paint,
            anisotropy: stacks::ANISOTROPIES[i % stacks::ANISOTROPIES.len()],
        })
        .collect()
}

/// What a card says.
pub struct Told {
    pub milk: Option<Milk>,
    pub grade: Grade,
}

impl MilkPaint {
    fn constants(&self) -> Constants {
        Constants {
            absorption: self.paint.absorption,
            scattering: self.paint.scattering,
            anisotropy: self.anisotropy,
            covariance: Covariance::zeros(),
        }
    }

    /// XYZ over the nominal white and black by exact transport.
    fn exact(&self, transport: &Transport<24>, build: f64) -> [Xyz; 2] {
        let film: Vec<_> = (0..BANDS)
            .map(|b| {
                transport.stack(&[&transport.film(
                    self.paint.absorption[b],
                    self.paint.scattering[b],
                    build,
                )])
            })
            .collect();
        [NOMINAL_WHITE, NOMINAL_BLACK].map(|ground| {
            let seen: Bands = std::array::from_fn(|b| film[b].over(surface::to_internal(ground)));
            spectrum::xyz_of(&seen)
        })
    }

    /// True milk on black, where the paint reaches glaze depth within `reach` reference films.
    pub fn truth(&self, reach: f64) -> Option<f64> {
        let transport = Transport::<24>::new(self.anisotropy);
        // The table's build is within a percent; from there by secants.
        let guess = verdict::milk(&self.constants(), reach / verdict::REACH)?.build;
        let depth = |build: f64| {
            let [white, black] = self.exact(&transport, build);
            let least = (white.x / colour::WHITE[0])
                .min(white.y / colour::WHITE[1])
                .min(white.z / colour::WHITE[2]);
            (least / NOMINAL_WHITE - GLAZE_DEPTH, black)
        };
        let (mut at, mut before) = (libm::log(guess), libm::log(0.95 * guess));
        let (mut miss, mut missed) = (depth(libm::exp(at)).0, depth(libm::exp(before)).0);
        while miss.abs() > 1e-5 {
            let next = at - miss * (at - before) / (miss - missed);
            (before, missed) = (at, miss);
            at = next;
            miss = depth(libm::exp(at)).0;
        }
        let black = depth(libm::exp(at)).1;
        let bare = Xyz::new(
            NOMINAL_BLACK * colour::WHITE[0],
            NOMINAL_BLACK * colour::WHITE[1],
            NOMINAL_BLACK * colour::WHITE[2],
        );
        Some(colour::lab(black).l - colour::lab(bare).l)
    }

    /// What cards say whose films are `scale` times the usual, one for each noise draw.
    pub fn told(&self, scale: f64, draws: usize) -> Vec<Told> {
        let builds = CARD.map(|build| scale * build);
        let exact = stacks::exact_cells(
            &self.paint.absorption,
            &self.paint.scattering,
            self.anisotropy,
            &builds,
        );
        let [white, black] = stacks::stripes().map(|stripe| spectrum::xyz_of(&stripe));
        (0..draws)
            .map(|draw| {
                let cells = score::noisy(&mut Random::of(draw as u64, self.paint.name), &exact);
                let card = sets::card(white, black, &cells);
                let prior = sets::prior(white, &cells);
                let fitted = fit::fit(&card, &prior, Optics::Transport);
                let paint = Constants::of(&fitted);
                let thickest = fitted
                    .log_builds
                    .iter()
                    .copied()
                    .map(libm::exp)
                    .fold(0.0, f64::max);
                let milk = verdict::milk(&paint, thickest);
                let hiding = verdict::hiding_build(&paint, 10.0 * thickest);
                Told {
                    grade: verdict::grade(milk, hiding, thickest),
                    milk,
                }
            })
            .collect()
    }
}
