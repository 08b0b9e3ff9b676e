//! What was taken for a film and is none: writing across the stripes, a strip of tape, a film of another paint.

use super::{Answers, Reading, read_sampled};
use crate::{
    card::{Doubt, Edge, Layout, cells::Sampled},
    paint::file::State,
    scan::Scan,
};

/// Code of the question about a film that was left out.
pub const STRANGER: &str = "strange-film";

/// A film that varies by more than this share of what it does looks like none. Ours: of the films read on 983 rendered cards one is above
/// 0.2, at 0.22; three that were writing were at 0.48, 0.54 and 4.3.
const UNEVEN: f64 = 0.4;
/// So does one of which more than this share is left out as dust or ridges (ours).
const REJECTED: f64 = 0.25;

/// The film without which the others go together as films of one paint, where they do not with it. It has to look like no film by
/// itself too, so that no good film of a fluorescent paint is given up for an answer.
///
/// `reading`: what `sampled` gave. Gives the film's index, and the reading of the others.
pub fn stranger(
    scan: &Scan,
    reading: &Reading,
    sampled: &Sampled,
    answers: &Answers,
) -> Option<(usize, Reading)> {
    let films = sampled.evenness.len();
    // One film alone goes together with itself.
    if reading.record.state != State::NotModelled || films < 3 {
        return None;
    }
    let without = |film: usize| {
        let others: Vec<usize> = (0..films).filter(|&other| other != film).collect();
        let layout = reading.layout.without(film);
        read_sampled(scan, &layout, sampled.only(&others), answers)
    };
    (0..films)
        .filter(|&film| looks_like_none(film, sampled))
        .filter_map(|film| {
            let rest = without(film);
            let fitted = rest.fitted.as_ref()?;
            Some((fitted.cost / fitted.fitted.len() as f64, film, rest))
        })
        .min_by(|(a, ..), (b, ..)| a.total_cmp(b))
        .map(|(_, film, rest)| (film, rest))
}

fn looks_like_none(film: usize, sampled: &Sampled) -> bool {
    let mut crossings = sampled.crossings.iter().filter(|c| c.film == film);
    let mut cells = sampled.pooled.iter().filter(|c| c.film == film);
    sampled.evenness[film] > UNEVEN
        || crossings.any(|crossing| !crossing.reached)
        || cells.any(|cell| cell.rejected_share > REJECTED)
}

/// Puts the question about a film that was left out into its layout, instead of those about it and about how many films there are.
pub fn ask(layout: &mut Layout, film: usize) {
    let middle = |edge: &Edge| 0.5 * (edge.left + edge.right);
    let band = &layout.films[film];
    let share = 0.5 * (middle(&band.top) + middle(&band.bottom)) / layout.size[1];
    layout
        .doubts
        .retain(|doubt| doubt.films.is_none() && doubt.film != Some(film));
    layout.doubts.insert(
        0,
        Doubt {
            code: STRANGER.into(),
            words: format!(
                "Is what lies {:.0} % down the stripes a film of this paint? It does not go with the others and was left out.",
                100.0 * share
            ),
            film: Some(film),
            films: None,
        },
    );
}
