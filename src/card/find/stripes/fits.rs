//! Groups of bars and the stripes that fit them.

use std::{cell::RefCell, collections::HashMap};

use super::{
    super::{Ruler, bars::Bar, picture::Picture},
    Stripes,
};

/// What was fitted, by its key.
type Known = HashMap<(Vec<usize>, bool), Option<Stripes>>;

/// Stripes of the groups of one picture, each fitted once: the same group is met again when others have been taken away.
pub(in crate::card::find) struct Fits<'a> {
    picture: &'a Picture,
    ruler: &'a Ruler,
    known: RefCell<Known>,
}

impl<'a> Fits<'a> {
    pub(in crate::card::find) fn new(picture: &'a Picture, ruler: &'a Ruler) -> Self {
        Self {
            picture,
            ruler,
            known: RefCell::default(),
        }
    }

    /// The stripes of a group, and the ruler for them; none if the edges are not straight or not there. `beyond`: whether
    /// they are followed beyond the bars.
    pub(in crate::card::find) fn of(
        &self,
        group: &[Bar],
        beyond: bool,
    ) -> Option<(Ruler, Stripes)> {
        let ruler = self.ruler.for_group(group);
        let ids = group.iter().map(|bar| bar.id).collect();
        let mut known = self.known.borrow_mut();
        let stripes = known
            .entry((ids, beyond))
            .or_insert_with(|| Stripes::fit(self.picture, &ruler, group, beyond));
        stripes.clone().map(|stripes| (ruler, stripes))
    }

    /// Groups of bars without dark gaps between white cards: a gap with the same width as the stripes looks like one more
    /// of them, but goes on where they end.
    pub(in crate::card::find) fn without_lid(&self, group: &[Bar]) -> Vec<Vec<Bar>> {
        let whole = || vec![group.to_vec()];
        if group.len() < 3 {
            return whole();
        }
        let Some((ruler, stripes)) = self.of(group, true) else {
            return whole();
        };
        let lids: Vec<[f64; 2]> = (0..stripes.blacks.len())
            .filter(|&i| stripes.is_lid(self.picture, &ruler, i))
            .map(|i| stripes.blacks[i])
            .collect();
        if lids.is_empty() {
            return whole();
        }
        let bars = group.iter().filter(|bar| {
            let u = stripes.across(bar);
            !lids.iter().any(|lid| (lid[0]..lid[1]).contains(&u))
        });
        let at: Vec<f64> = lids.iter().map(|lid| lid[1]).collect();
        stripes.parted(bars, &at)
    }

    /// A group parted where it may be two cards side by side: at white that is wider than the rest, or not white all over.
    /// Empty where it is one.
    pub(in crate::card::find) fn side_by_side(&self, group: &[Bar]) -> Vec<Vec<Bar>> {
        let Some((ruler, stripes)) = self.of(group, true) else {
            return Vec::new();
        };
        let seams = stripes.seams(self.picture, &ruler);
        if seams.is_empty() {
            return Vec::new();
        }
        stripes.parted(group.iter(), &seams)
    }
}
