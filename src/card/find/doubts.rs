//! What has to be asked about a reading: nothing is guessed without a word.

use super::{
    films::{Edge, Film},
    judge::{Candidate, LEFT_OVER},
    picture::Picture,
    reading::Reading,
};
use crate::card::{Doubt, FILM};

/// Edges that stand out less from the noise than this are shown as doubtful.
const FAINT: f64 = 12.0;
/// Steps in and out that undo each other less than this (cosine) may belong to different films.
const UNLIKE: f64 = 0.8;
/// A reading in the other direction that is worth more than this share of the best one makes the direction doubtful.
const RIVAL: f64 = 0.4;
/// The same where one film alone was found, which may as well be a stripe that many films cross.
const RIVAL_OF_ONE: f64 = 0.1;
/// A number of films that is worth less than this more than another number is doubtful. A clear film is worth 50 to 200.
const CLOSE: f64 = 20.0;
/// A reading less likely than this may be something else; plain cards reach 0.8 and more.
const UNLIKELY: f64 = 0.3;
/// Stripes as different in width as this (widest less narrowest, over their mean) may be something else.
const UNEQUAL: f64 = 0.35;
/// Edges of stripes that stray this far from straight lines, in mm.
const CROOKED_MM: f64 = 0.3;

/// Which edges of the films (top, bottom) are doubtful, and the questions, the most important first.
pub(super) fn doubts(candidate: &Candidate, picture: &Picture) -> (Vec<[bool; 2]>, Vec<Doubt>) {
    let card = &candidate.reading;
    let mut doubts = Vec::new();
    let rival = match card.films.films.len() {
        1 => RIVAL_OF_ONE,
        _ => RIVAL,
    };
    if candidate.rival > rival * candidate.score || candidate.is_grid() {
        doubts.push(ask("direction", None, "Do the stripes run this way? The card can also be read with stripes and films exchanged.".into()));
    }
    if candidate.likelihood < UNLIKELY {
        doubts.push(ask(
            "card",
            None,
            "Is this a card? Parts of it do not look like paint on stripes.".into(),
        ));
    }
    if candidate.hides_outer_black(picture) {
        doubts.push(ask(
            "outer-black",
            None,
            "Is there another black stripe at the side? The lid is as black as the stripes, so it would not show.".into(),
        ));
    }
    doubts.extend(stripe_doubts(candidate));
    let (edges, about_films) = film_doubts(card);
    doubts.extend(about_films);
    (edges, doubts)
}

/// About a card whose stripes go on in another one.
pub(super) fn by_itself() -> Doubt {
    let words = "Is this a card by itself? Its stripes go on in the next one.";
    ask("card", None, words.into())
}

fn ask(code: &str, film: Option<usize>, words: String) -> Doubt {
    Doubt {
        code: code.into(),
        words,
        film,
        films: None,
    }
}

fn stripe_doubts(candidate: &Candidate) -> Vec<Doubt> {
    let card = &candidate.reading;
    let mut doubts = Vec::new();
    let widths: Vec<f64> = card.blacks.iter().map(|b| b[1] - b[0]).collect();
    let (low, high) = widths
        .iter()
        .fold((f64::MAX, 0.0_f64), |(a, b), w| (a.min(*w), b.max(*w)));
    let mean = widths.iter().sum::<f64>() / widths.len() as f64;
    if high - low > UNEQUAL * mean {
        doubts.push(ask(
            "stripe-widths",
            None,
            "Are all of these stripes? Their widths differ much.".into(),
        ));
    }
    if candidate.unseen > 0 {
        doubts.push(ask(
            "stripe-edges",
            None,
            "Do these lines follow the stripes? One of their edges hardly shows.".into(),
        ));
    } else if candidate.roughness > CROOKED_MM * card.ruler.per_mm {
        doubts.push(ask(
            "stripe-edges",
            None,
            "Do these lines follow the stripes? Their edges are not straight.".into(),
        ));
    }
    doubts
}

/// Questions about films, for a reading of whatever origin.
pub(super) fn film_doubts(card: &Reading) -> (Vec<[bool; 2]>, Vec<Doubt>) {
    let mut doubts: Vec<Doubt> = card
        .films
        .left_over
        .iter()
        .filter(|e| e.strength > LEFT_OVER)
        .map(|e| left_over(card, e))
        .collect();
    doubts.extend(count_doubt(card));
    let mut edges = Vec::new();
    for (i, film) in card.films.films.iter().enumerate() {
        edges.push(film.strength.map(|s| s < FAINT || film.likeness < UNLIKE));
        doubts.extend(film_doubt(card, i, film));
    }
    (edges, doubts)
}

fn left_over(card: &Reading, edge: &Edge) -> Doubt {
    let share = (100.0 * edge.line.at / card.size[1]).round();
    ask(
        "another-film",
        None,
        format!(
            "Is there another film? About {share} % down the stripes an edge shows that belongs to none of these."
        ),
    )
}

fn count_doubt(card: &Reading) -> Option<Doubt> {
    let count = card.films.films.len();
    let mine = *card.films.worth.get(count)?;
    let others = card
        .films
        .worth
        .iter()
        .enumerate()
        .filter(|(k, _)| *k != count);
    let (rival, worth) = others.fold(
        (count, f64::NEG_INFINITY),
        |a, (k, &w)| if w > a.1 { (k, w) } else { a },
    );
    // With none found, one film that is hardly worth anything is no question.
    (count > 0 && mine - worth < CLOSE).then(|| Doubt {
        films: Some(rival),
        ..ask(
            "film-count",
            None,
            format!("Are there {count} films? It could also be {rival}."),
        )
    })
}

fn film_doubt(card: &Reading, i: usize, film: &Film) -> Option<Doubt> {
    if film.print(f64::from(card.levels.contrast())).is_some() {
        return Some(ask(
            "bare-card",
            Some(i),
            format!("Is film {FILM} paint? It looks like bare card."),
        ));
    }
    if film.strength[0].min(film.strength[1]) < FAINT {
        return Some(ask(
            "faint-edge",
            Some(i),
            format!("Are the edges of film {FILM} in the right place? They hardly show."),
        ));
    }
    (film.likeness < UNLIKE).then(|| {
        ask(
            "unlike-edges",
            Some(i),
            format!("Is film {FILM} one film? Its two edges look different."),
        )
    })
}
