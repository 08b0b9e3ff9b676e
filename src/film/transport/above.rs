//! Films from above: what lies over a film, and how the whole answers where that film changes a little.

use super::{Laid, Layer, Square, Transport, dense, one_minus_product};
use crate::film::{Response, surface};

/// What lies over a film, the surface last: the other half of [`Laid`].
///
/// Light from below is thrown back by `r`. Of light that falls in along 45 degrees `lit` comes down, and by reciprocity so much of what
/// goes up leaves along there; `straight` is the same for straight up. `a`: what returns of the one along the other with nothing below.
#[derive(Debug, Clone)]
pub struct Above<const N: usize> {
    r: Square<N>,
    lit: [f64; N],
    straight: [f64; N],
    a: f64,
}

impl<const N: usize> Transport<N> {
    /// The surface, nothing between it and what is below.
    pub fn open(&self) -> Above<N> {
        let mut r = dense::zero();
        let mut lit = [0.0; N];
        let mut straight = [0.0; N];
        for i in 0..N {
            r[i][i] = self.inner[i];
            // Radiance is flux / (root root).
            if i >= N / 2 {
                lit[i] = self.at_45[i] / self.root[i];
            }
        }
        straight[N - 1] = 1.0 / self.root[N - 1];
        Above {
            r,
            lit,
            straight,
            a: 0.0,
        }
    }
}

impl<const N: usize> Above<N> {
    fn sources(&self) -> [[f64; 2]; N] {
        std::array::from_fn(|i| [self.lit[i], self.straight[i]])
    }

    /// The same over one more film, below all that was there.
    pub fn over(&self, film: &Layer<N>) -> Self {
        let one_minus = one_minus_product(&self.r, &film.reflection);
        let (both, _) = dense::solve_both(one_minus, self.sources(), [0.0; N]);
        let [lit, straight] = [LIT, STRAIGHT].map(|light| both.map(|row| row[light]));
        let back = dense::solve(one_minus, dense::product(&self.r, &film.transmission));
        let mut r = dense::product(&film.transmission, &back);
        for (row, added) in r.iter_mut().zip(&film.reflection) {
            for (value, added) in row.iter_mut().zip(added) {
                *value += added;
            }
        }
        Self {
            r,
            lit: dense::apply(&film.transmission, &lit),
            a: self.a + dense::dot(&self.lit, &dense::apply(&film.reflection, &straight)),
            straight: dense::apply(&film.transmission, &straight),
        }
    }

    /// How all of it answers any ground, over films that are laid.
    pub fn seen(&self, Laid { r, u, s }: &Laid<N>) -> Response {
        // What is straight is thrown back once below, then between the two; what the ground sends up is met by the same.
        let thrown = dense::apply(r, &self.straight);
        let both = std::array::from_fn(|i| [thrown[i], u[i]]);
        let (both, _) = dense::solve_both(one_minus_product(r, &self.r), both, [0.0; N]);
        let [seen, lifted] = [0, 1].map(|light| both.map(|row| row[light]));
        Response {
            a: surface::ENTRY * (self.a + dense::dot(&self.lit, &seen)),
            b: surface::ENTRY
                * dense::dot(&self.lit, &lifted)
                * dense::dot(&self.straight, &lifted),
            c: s + dense::dot(u, &dense::apply(&self.r, &lifted)),
        }
    }
}

/// The light that falls on one film among others, from above and from below, with light along 45 degrees, straight down, and from the
/// ground below.
///
/// A little change of the film sends a little more or less of that light on its way, and by reciprocity how much of it is seen is what
/// the same light says. So one change costs a few products with a column, where laying all films anew costs some with a square.
#[derive(Debug, Clone)]
pub struct Around<const N: usize> {
    down: [[f64; N]; 3],
    up: [[f64; N]; 3],
    /// What of the ground's light leaves along 45 degrees, and straight up.
    leaves: [f64; 2],
}

/// Places of the light in [`Around`].
const LIT: usize = 0;
const STRAIGHT: usize = 1;
const GROUND: usize = 2;

impl<const N: usize> Around<N> {
    /// Light on `film`, between what is `below` it and what is `above` it; `with` is what is below with the film.
    pub fn new(below: &Laid<N>, film: &Layer<N>, with: &Laid<N>, above: &Above<N>) -> Self {
        let (from_above, from_ground) = dense::solve_both(
            one_minus_product(&above.r, &with.r),
            above.sources(),
            dense::apply(&above.r, &with.u),
        );
        let down = [
            from_above.map(|row| row[LIT]),
            from_above.map(|row| row[STRAIGHT]),
            from_ground,
        ];
        let through =
            down.map(|down| dense::apply(&below.r, &dense::apply(&film.transmission, &down)));
        let (up, mut ground) = dense::solve_both(
            one_minus_product(&below.r, &film.reflection),
            std::array::from_fn(|i| [through[LIT][i], through[STRAIGHT][i]]),
            std::array::from_fn(|i| through[GROUND][i] + below.u[i]),
        );
        let up = [up.map(|row| row[LIT]), up.map(|row| row[STRAIGHT]), ground];
        // What goes up over the film.
        ground = dense::apply(&with.r, &from_ground);
        ground.iter_mut().zip(&with.u).for_each(|(v, u)| *v += u);
        Self {
            leaves: [&above.lit, &above.straight].map(|way| dense::dot(way, &ground)),
            down,
            up,
        }
    }

    /// How the whole changes where the film becomes `changed`: to first order, divided by `step`.
    pub fn slope(&self, film: &Layer<N>, changed: &Layer<N>, step: f64) -> Response {
        let less = |changed: &Square<N>, was: &Square<N>| -> Square<N> {
            std::array::from_fn(|i| std::array::from_fn(|j| changed[i][j] - was[i][j]))
        };
        let reflection = less(&changed.reflection, &film.reflection);
        let transmission = less(&changed.transmission, &film.transmission);
        let sent = [STRAIGHT, GROUND].map(|light| {
            let (down, up) = (&self.down[light], &self.up[light]);
            let sum =
                |a: [f64; N], b: [f64; N]| -> [f64; N] { std::array::from_fn(|i| a[i] + b[i]) };
            [
                sum(
                    dense::apply(&reflection, down),
                    dense::apply(&transmission, up),
                ),
                sum(
                    dense::apply(&transmission, down),
                    dense::apply(&reflection, up),
                ),
            ]
        });
        let met = |light: usize, [up, down]: &[[f64; N]; 2]| {
            dense::dot(&self.down[light], up) + dense::dot(&self.up[light], down)
        };
        let [straight, ground] = &sent;
        let [along_45, straight_up] = self.leaves;
        Response {
            a: surface::ENTRY * met(LIT, straight) / step,
            b: surface::ENTRY * (met(LIT, ground) * straight_up + along_45 * met(STRAIGHT, ground))
                / step,
            c: met(GROUND, ground) / step,
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn near(one: Response, two: Response, within: f64) -> bool {
        [(one.a, two.a), (one.b, two.b), (one.c, two.c)]
            .iter()
            .all(|(one, two)| (one - two).abs() <= within)
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]

        /// From whichever side the films are joined, and wherever the two halves meet, the whole is the same; and its slope is what a
        /// small step shows.
        #[test]
        fn both_halves_make_one_whole(
            paints in proptest::collection::vec((-4.0..1.0, -4.0..1.0, 0.05..2.0), 3), place in 0_usize..3, by in 0_usize..3,
        ) {
            let transport = Transport::<8>::new(0.6);
            let films: Vec<[f64; 3]> =
                paints.iter().map(|&(k, s, build): &(f64, f64, f64)| [libm::exp(k), libm::exp(s), build]).collect();
            let layer = |[k, s, build]: [f64; 3]| transport.film(k, s, build);
            let layers: Vec<Layer<8>> = films.iter().map(|film| layer(*film)).collect();
            let whole = transport.stack(&layers.iter().collect::<Vec<_>>());
            let below = layers[..place].iter().fold(transport.bare(), |laid, film| laid.under(film));
            let above = layers[place + 1..].iter().rev().fold(transport.open(), |above, film| above.over(film));
            let with = below.under(&layers[place]);
            prop_assert!(near(above.seen(&with), whole, 1e-10));
            prop_assert!(near(above.over(&layers[place]).seen(&below), whole, 1e-10));

            let step = 1e-4;
            let changed = |sign: f64| {
                let mut film = films[place];
                film[by] *= libm::exp(sign * step);
                layer(film)
            };
            let seen = |layer: &Layer<8>| above.seen(&below.under(layer));
            let (up, down) = (seen(&changed(1.0)), seen(&changed(-1.0)));
            let stepped = Response {
                a: (up.a - down.a) / (2.0 * step),
                b: (up.b - down.b) / (2.0 * step),
                c: (up.c - down.c) / (2.0 * step),
            };
            let around = Around::new(&below, &layers[place], &with, &above);
            let slope = around.slope(&changed(-1.0), &changed(1.0), 2.0 * step);
            prop_assert!(near(slope, stepped, 2e-6), "{slope:?} {stepped:?}");
            // The build's slope needs no second film.
            if by == 2 {
                let [k, s, build] = films[place];
                let thicker = transport.thicker((k, s, build), &layers[place], step);
                let slope = around.slope(&layers[place], &thicker, step);
                prop_assert!(near(slope, stepped, 1e-4), "{slope:?} {stepped:?}");
            }
        }
    }
}
