//! A black lid beside or beyond a card, which looks like one more stripe but goes on where stripes end.

use super::{
    super::{
        Ruler,
        picture::{Picture, brightest},
    },
    Stripes,
};

impl Stripes {
    pub(super) fn drop_outer_lid(&mut self, picture: &Picture, ruler: &Ruler) -> bool {
        let before = self.blacks.len();
        while self.blacks.len() > 1 && self.is_lid(picture, ruler, self.blacks.len() - 1) {
            self.blacks.pop();
        }
        while self.blacks.len() > 1 && self.is_lid(picture, ruler, 0) {
            self.blacks.remove(0);
        }
        self.blacks.len() < before
    }

    /// Whether a black stripe goes on at one end, over its whole width, where most others have ended.
    pub(super) fn is_lid(&self, picture: &Picture, ruler: &Ruler, index: usize) -> bool {
        let others: Vec<usize> = (0..self.blacks.len()).filter(|&i| i != index).collect();
        (0..2).any(|which| {
            let dark = |i: usize| self.dark_beyond(picture, ruler, i, which);
            let rest: Vec<f64> = others.iter().filter_map(|&i| dark(i)).collect();
            let ended = rest.iter().filter(|&&d| d < 0.2).count();
            dark(index).is_some_and(|d| d > 0.9) && !rest.is_empty() && 4 * ended >= 3 * rest.len()
        })
    }

    /// Share of a black stripe's width that is dark from 1.5 to 4 mm beyond one end: past blur and ragged ends, within the
    /// narrowest margin. `None` where that lies beyond the picture.
    fn dark_beyond(
        &self,
        picture: &Picture,
        ruler: &Ruler,
        index: usize,
        which: usize,
    ) -> Option<f64> {
        let outward = if which == 0 { -1.0 } else { 1.0 };
        let limit = self.levels.between(0.35);
        let [from, to] = self.blacks[index];
        let spots = (0..20).map(|k| {
            let u = from + (to - from) * [0.2, 0.4, 0.6, 0.8][k % 4];
            let past = ruler.pixels(1.5 + 0.625 * (k / 4) as f64);
            (u, self.end(which, u) + outward * past)
        });
        let seen: Vec<_> = spots.filter(|&(u, v)| self.inside(picture, u, v)).collect();
        let dark = seen
            .iter()
            .filter(|&&(u, v)| brightest(&self.colour(picture, u, v)) < limit);
        (seen.len() >= 10).then(|| dark.count() as f64 / seen.len() as f64)
    }

    /// Whether most black stripes go on in the dark at one end: the card is cut where they end, and the lid is black.
    pub(in crate::card::find) fn run_off(&self, picture: &Picture, ruler: &Ruler) -> bool {
        let dark = |i: usize, which| {
            self.dark_beyond(picture, ruler, i, which)
                .is_some_and(|d| d > 0.9)
        };
        let count = |which| (0..self.blacks.len()).filter(|&i| dark(i, which)).count();
        (0..2).any(|which| 2 * count(which) > self.blacks.len())
    }

    /// Whether there is only one black stripe and it goes on in the dark: most likely a gap between two cards on a black lid.
    pub(in crate::card::find) fn is_gap(&self, picture: &Picture, ruler: &Ruler) -> bool {
        let dark = |which| self.dark_beyond(picture, ruler, 0, which);
        self.blacks.len() == 1 && (0..2).any(|which| dark(which).is_some_and(|d| d > 0.9))
    }
}
