//! What a painter should hear of these films: where it matters, and no more.

use super::{OpenPicture, Tube};
use crate::{
    page::glaze::listed,
    paint::{
        Record,
        file::{Grade, State, Surface},
        verdict,
    },
    picture::{
        BEYOND,
        medium::{self, MEDIA, Medium},
        plan::PlannedFilm,
        readings,
    },
};

impl OpenPicture {
    /// Notes on the films and colours at hand, the weightiest first.
    pub(super) fn notes(&self) -> Vec<String> {
        let films: Vec<(&PlannedFilm, &Tube)> = self
            .plan
            .films
            .iter()
            .filter_map(|film| Some((film, self.tube(&film.tube)?)))
            .filter(|(film, _)| film.coats > 0)
            .collect();
        let mut notes = Vec::new();
        for film in &self.plan.films {
            if self.tube(&film.tube).is_none() {
                notes.push(format!(
                    "{} is not among these tubes: its film is left out.",
                    film.name
                ));
            }
        }
        notes.extend(layering(&films));
        for (_, tube) in &films {
            let note = self.of_readings(tube);
            if !note.is_empty() && !notes.contains(&note) {
                notes.push(note);
            }
        }
        notes.extend(of_states(&films));
        for (film, tube) in &films {
            for note in of_film(film, tube) {
                if !notes.contains(&note) {
                    notes.push(note);
                }
            }
        }
        notes.extend(beyond(&films));
        if !films.is_empty()
            && self
                .plan
                .colours
                .iter()
                .any(|c| c.surface != Surface::Glossy)
        {
            notes.push(
                "A dull colour deepens as soon as a film wets it; that is part of this change."
                    .to_owned(),
            );
        }
        let oily = |(film, tube): &(&PlannedFilm, &Tube)| {
            !film.thinning.is_none() && !is_acrylic(tube) && film.medium != medium::ACRYLIC
        };
        let mut oily = films.iter().copied().filter(oily).peekable();
        if oily.peek().is_some() {
            let solvent = oily.any(|(film, _)| film.thinning.evaporates > 0.0);
            let air = if solvent {
                "Solvent: air the room; odourless is not harmless. "
            } else {
                ""
            };
            notes.push(format!("{air}Rags with oil heat up by themselves: dry them spread flat, or keep them under water. Label, safety data sheet and local rules come first."));
        }
        notes
    }

    /// What of several readings a tube is predicted by.
    fn of_readings(&self, tube: &Tube) -> String {
        let (name, taken) = (tube.name(), tube.taken.len());
        let n = tube.readings.len() - tube.repeats;
        if n < 2 {
            return String::new();
        }
        let mean = readings::taken_words(taken, n);
        let mut words = format!("{name}: predicted by {mean}.");
        if let Some(odd) = tube.odd.and_then(|odd| self.tubes.get(odd)) {
            words += &format!(
                " {} is the odd one out and left out; look at it under Tubes.",
                match odd.record.provenance.file_name.as_str() {
                    "" => "One",
                    file => file,
                }
            );
        }
        if n - taken > usize::from(tube.odd.is_some()) {
            words += readings::HIDING_LEFT_OUT;
        }
        words
    }
}

/// Acrylic never over oil; fat over lean (common practice, no source). Only said where labels and recipes tell.
fn layering(films: &[(&PlannedFilm, &Tube)]) -> Vec<String> {
    let mut notes = Vec::new();
    for (i, (film, tube)) in films.iter().enumerate() {
        for (lower_film, lower) in &films[..i] {
            if is_acrylic(tube) && is_oil(lower) {
                notes.push(format!(
                    "Acrylic never over oil: {} would lie over {} and may flake. Put it under.",
                    tube.name(),
                    lower.name()
                ));
            }
            if is_oil(tube)
                && is_oil(lower)
                && film.thinning.fat() + 0.01 < lower_film.thinning.fat()
            {
                notes.push(format!(
                    "Fat over lean: {} is leaner than {} below it. Give the upper film at least as much medium.",
                    tube.name(),
                    lower.name()
                ));
            }
        }
    }
    notes
}

/// Films thicker or thinner than any on their card, in one sentence each way.
fn beyond(films: &[(&PlannedFilm, &Tube)]) -> Vec<String> {
    let those = |is: fn(f64, &Record) -> bool| {
        let mut names: Vec<&str> = Vec::new();
        for (film, tube) in films {
            if is(film.whole_build(), &tube.record) && !names.contains(&tube.name()) {
                names.push(tube.name());
            }
        }
        names
    };
    let thinnest =
        |build: f64, record: &Record| record.films.iter().all(|film| build < film.build / BEYOND);
    [
        (
            those(|build, record| build > BEYOND * record.thickest()),
            "more",
        ),
        (those(thinnest), "less"),
    ]
    .into_iter()
    .filter(|(names, _)| !names.is_empty())
    .map(|(names, which)| {
        format!(
            "{}: {which} of it than in any film on its card, so beyond what was measured.",
            listed(&names)
        )
    })
    .collect()
}

fn binder(tube: &Tube) -> String {
    tube.record.paint.binder.to_lowercase()
}

pub(super) fn is_acrylic(tube: &Tube) -> bool {
    binder(tube).contains("acryl")
}

pub(super) fn is_oil(tube: &Tube) -> bool {
    const OILS: [&str; 7] = [
        "oil",
        "linseed",
        "walnut",
        "safflower",
        "poppy",
        "sunflower",
        "alkyd",
    ];
    let binder = binder(tube);
    OILS.iter().any(|oil| binder.contains(oil))
}

/// What the cards cannot tell, once for all tubes of which it is so.
fn of_states(films: &[(&PlannedFilm, &Tube)]) -> Vec<String> {
    let mut states: Vec<(State, Vec<&str>)> = Vec::new();
    for (_, tube) in films {
        let (state, name) = (tube.record.state, tube.name());
        match states.iter_mut().find(|(of, _)| *of == state) {
            _ if state == State::Known => {}
            Some((_, names)) if names.contains(&name) => {}
            Some((_, names)) => names.push(name),
            None => states.push((state, vec![name])),
        }
    }
    states
        .into_iter()
        .map(|(state, names)| {
            let each = if names.len() > 1 { ", each" } else { "" };
            let words = verdict::state_words(state);
            let (first, rest) = words.split_at_checked(1).unwrap_or_default();
            format!("{}{each}: {}{rest}", listed(&names), first.to_lowercase())
        })
        .collect()
}

fn of_film(film: &PlannedFilm, tube: &Tube) -> Vec<String> {
    let record = &tube.record;
    let name = tube.name();
    let mut notes = Vec::new();
    if record.dry.0 == "no" {
        notes.push(format!(
            "{name}: its card was not dry when it was scanned; dry paint will differ."
        ));
    }
    // Crowded whites scatter less per particle: thinned, each particle does more.
    let light = record
        .opacity
        .masstone_lab
        .is_some_and(|[l, _, _]| l > 85.0);
    let milky = matches!(
        record.opacity.grade,
        Some(Grade::Veil | Grade::HalfCovering | Grade::Covering)
    );
    if light && milky && film.thinning.share() < 0.67 {
        notes.push(format!(
            "{name}: a white thinned this far veils more than predicted here."
        ));
    }
    // That much medium yellows and wrinkles is common practice, no source; where much begins is ours: half of what stays.
    if film.thinning.fat() > 0.5 && !is_acrylic(tube) {
        notes.push(format!(
            "{name}: more medium than paint stays in this film. Much oil yellows and wrinkles; take only what it needs."
        ));
    }
    if let Some(at) = Medium::place(&film.medium) {
        let medium = &MEDIA[at];
        if !medium.caution.is_empty() {
            notes.push(medium.caution.to_owned());
        }
        let acrylic = medium.key == medium::ACRYLIC;
        if if acrylic {
            is_oil(tube)
        } else {
            is_acrylic(tube)
        } {
            notes.push(format!(
                "{name}: oil and acrylic do not mix in one film. Choose a medium of its own kind."
            ));
        }
    }
    if !record.paint.lightfastness.trim().is_empty() {
        notes.push(format!(
            "{name}: lightfastness {}. Thin films fade sooner than thick ones.",
            record.paint.lightfastness.trim()
        ));
    }
    if let Some(what) = harmful(&record.paint.colour_index) {
        notes.push(format!(
            "{name} holds {what}: no eating or smoking, gloves, never sand it dry; follow its label."
        ));
    }
    notes
}

/// What harmful thing a Colour Index name stands for. Generic names of lead white and the cadmium, cobalt, chromate,
/// manganese and mercury pigments (from memory); others may be harmful too, so silence says nothing.
fn harmful(names: &[String]) -> Option<&'static str> {
    let known = |list: &[&str]| {
        names.iter().any(|name| {
            let name: String = name.to_uppercase().split_whitespace().collect();
            list.contains(&name.as_str())
        })
    };
    if known(&["PW1", "PY41", "PR105"]) {
        Some("lead")
    } else if known(&["PY34", "PR103", "PR104"]) {
        Some("lead chromate")
    } else if known(&["PY35", "PY37", "PO20", "PR108"]) {
        Some("cadmium")
    } else if known(&["PR106"]) {
        Some("mercury")
    } else if known(&[
        "PB28", "PB35", "PB36", "PV14", "PV49", "PY40", "PG19", "PG50",
    ]) {
        Some("cobalt")
    } else if known(&["PV16", "PB33"]) {
        Some("manganese")
    } else {
        None
    }
}
