//! Corrections by hand: corners, edges of films and stripes, films put in and taken away, crossings left out, questions settled.

use super::{
    OpenScan,
    place::{MOST_FILMS, Placed, add_film},
};
use crate::{
    Error, Result,
    card::{Doubt, Edge, FilmBand, Layout, find, rectify::Frame},
    reading,
};

/// Least width of a stripe, as a share of the card's.
const NARROWEST: f64 = 0.01;

impl OpenScan {
    /// Moves one corner (0 top left, clockwise) to a place in the picture shown, and looks again inside; what was moved by
    /// hand is taken along.
    ///
    /// # Errors
    /// When there is nothing to be found there; where a card was known it stays as it was.
    pub fn move_corner(&mut self, corner: usize, at: [f64; 2]) -> Result<()> {
        let view = self.picture_frame()?;
        let place = &self.card().place;
        let mut corners = place.corners();
        if let (Some(corner), true) = (corners.get_mut(corner), at.iter().all(|v| v.is_finite())) {
            *corner = view.to_scan(at);
        }
        let known = place.layout.clone();
        if known.is_none() {
            // Until all four are right nothing will be found; the marks stay where they were put.
            self.card_mut().place.marked = corners;
        }
        let films = known
            .as_ref()
            .map(|layout| layout.films.len())
            .filter(|&films| films > 0);
        let mut layout = find::within(&self.scan, corners, films)?;
        if let (Some(known), true) = (known, self.card().place.by_hand) {
            let factor: [f64; 2] = std::array::from_fn(|i| layout.size[i] / known.size[i]);
            layout.stripes = known.stripes;
            layout.films = known.films;
            layout.doubts = known.doubts;
            for stripe in &mut layout.stripes {
                stripe.from *= factor[0];
                stripe.to *= factor[0];
            }
            for film in &mut layout.films {
                for edge in [&mut film.top, &mut film.bottom] {
                    edge.left *= factor[1];
                    edge.right *= factor[1];
                }
            }
            self.card_mut().place.layout = Some(layout);
        } else {
            self.settle_in(layout);
        }
        self.changed();
        Ok(())
    }

    /// Takes a layout that was found anew. The film that lies where the brushed one lay is the brushed one still.
    fn settle_in(&mut self, mut layout: Layout) {
        let place = &self.card().place;
        let known = place
            .layout
            .as_ref()
            .and_then(|known| Some((Frame::of(known)?, known)));
        if let (Some((old, known)), Some(new)) = (known, Frame::of(&layout)) {
            let middle = |film: &FilmBand| {
                let edges = [film.top, film.bottom].map(|edge| edge.left + edge.right);
                0.25 * (edges[0] + edges[1])
            };
            let brushed = known.films.iter().find(|film| film.brushed).map(|film| {
                let at = old.to_scan([0.5 * known.size[0], middle(film)]);
                new.to_card(at)[1]
            });
            for film in &mut layout.films {
                let [from, to] = [film.top, film.bottom].map(|edge| 0.5 * (edge.left + edge.right));
                film.brushed = brushed.is_some_and(|at| (from..to).contains(&at));
            }
        }
        let place = &self.card().place;
        self.card_mut().place = Placed {
            printed: place.printed.clone(),
            judged: place.judged,
            ..Placed::of(layout, place.answers.clone())
        };
    }

    /// Looks for exactly so many films between the corners.
    ///
    /// # Errors
    /// When the corners hold no stripes; everything stays as it was.
    pub fn count_films(&mut self, films: usize) -> Result<()> {
        let corners = self.card().place.corners();
        let mut layout = find::within(&self.scan, corners, Some(films))?;
        if layout.films.len() == films {
            layout.doubts.retain(|doubt| doubt.films.is_none());
            self.card_mut().place.judged = true;
        }
        self.settle_in(layout);
        self.changed();
        Ok(())
    }

    /// Reads the card with stripes and films exchanged.
    ///
    /// # Errors
    /// When there are no stripes that way; everything stays as it was.
    pub fn exchange(&mut self) -> Result<()> {
        let mut corners = self.card().place.corners();
        corners.rotate_left(1);
        let layout = find::within(&self.scan, corners, None)?;
        // What were stripes are films now: none of them lies in a lane.
        if let Some(known) = &mut self.card_mut().place.layout {
            known.films.clear();
        }
        self.settle_in(layout);
        self.changed();
        Ok(())
    }

    /// Moves one edge of a film. `left` and `right` are its heights in the picture shown, at the card's borders.
    ///
    /// # Errors
    /// When the edge would cross its neighbours or leave the card; everything stays as it was.
    pub fn move_edge(&mut self, film: usize, top: bool, [left, right]: [f64; 2]) -> Result<()> {
        let view = self.picture_frame()?;
        let layout = self.layout_mut()?;
        let height = layout.size[1];
        let to = |y: f64| ((y - view.rim) * view.unit).clamp(0.0, height);
        let edge = Edge {
            left: to(left),
            right: to(right),
            doubtful: false,
        };
        let Some(band) = layout.films.get(film).copied() else {
            return Err(no_film(film));
        };
        let (above, below) = if top {
            (
                film.checked_sub(1).map(|i| layout.films[i].bottom),
                Some(band.bottom),
            )
        } else {
            (
                Some(band.top),
                layout.films.get(film + 1).map(|next| next.top),
            )
        };
        let crosses =
            |upper: Edge, lower: Edge| !(upper.left < lower.left && upper.right < lower.right);
        if above.is_some_and(|above| crosses(above, edge))
            || below.is_some_and(|below| crosses(edge, below))
        {
            return Err(Error::Layout(
                "an edge of a film cannot cross the next edge. Move that one first.".into(),
            ));
        }
        let moved = &mut layout.films[film];
        if top {
            moved.top = edge
        } else {
            moved.bottom = edge
        }
        if !moved.top.doubtful && !moved.bottom.doubtful {
            layout.doubts.retain(|doubt| doubt.film != Some(film));
        }
        self.card_mut().place.by_hand = true;
        self.changed();
        Ok(())
    }

    /// Moves the edge between a stripe and the next to `x` in the picture shown.
    ///
    /// # Errors
    /// When it would cross the edges beside it; everything stays as it was.
    pub fn move_stripe(&mut self, stripe: usize, x: f64) -> Result<()> {
        let view = self.picture_frame()?;
        let layout = self.layout_mut()?;
        let at = (x - view.rim) * view.unit;
        let least = NARROWEST * layout.size[0];
        match layout.stripes.get_mut(stripe..) {
            Some([left, right, ..]) if at >= left.from + least && at <= right.to - least => {
                left.to = at;
                right.from = at;
            }
            _ => {
                return Err(Error::Layout(
                    "an edge of a stripe cannot cross the next edge. Move that one first.".into(),
                ));
            }
        }
        self.card_mut().place.by_hand = true;
        self.changed();
        Ok(())
    }

    /// Puts a film into the widest bare gap, for the painter to move into place. Gives its number from 0.
    ///
    /// # Errors
    /// When no gap is left.
    pub fn add_film(&mut self) -> Result<usize> {
        let layout = self.layout_mut()?;
        if layout.films.len() >= MOST_FILMS {
            return Err(Error::Layout(format!(
                "a card has at most {MOST_FILMS} films. Take one away first."
            )));
        }
        let film = add_film(layout)?;
        let place = &mut self.card_mut().place;
        place.renumber(film, true);
        place.by_hand = true;
        self.changed();
        Ok(film)
    }

    /// There is no film: its place counts as bare card.
    ///
    /// # Errors
    /// When there is none of this number.
    pub fn take_away(&mut self, film: usize) -> Result<()> {
        let layout = self.layout_mut()?;
        if film >= layout.films.len() {
            return Err(no_film(film));
        }
        layout.films.remove(film);
        let place = &mut self.card_mut().place;
        place.renumber(film, false);
        place.by_hand = true;
        self.changed();
        Ok(())
    }

    /// Leaves out what was taken for a film and is none, and asks about it.
    pub(super) fn leave_out_stranger(&mut self, film: usize) {
        self.leave_out(film, None, true);
        let place = &mut self.card_mut().place;
        place.judged = true;
        if let Some(layout) = &mut place.layout {
            reading::ask_about_stranger(layout, film);
        }
    }

    /// Leaves one cell of a film out of the fit, or takes it back; all of its cells where no stripe is given.
    pub fn leave_out(&mut self, film: usize, stripe: Option<usize>, out: bool) {
        let place = &mut self.card_mut().place;
        if let Some(layout) = place.layout.as_mut().filter(|_| !out) {
            let asks = |doubt: &Doubt| doubt.code == reading::STRANGER && doubt.film == Some(film);
            layout.doubts.retain(|doubt| !asks(doubt));
        }
        let stripes = place.layout.as_ref().map_or(0, |l| l.stripes.len());
        for stripe in stripe.map_or(0..stripes, |stripe| {
            stripe..stripes.min(stripe.saturating_add(1))
        }) {
            if out {
                place.left_out.insert((film, stripe));
            } else {
                place.left_out.remove(&(film, stripe));
            }
        }
        self.changed();
    }

    /// The painter says that what a question asks about is right as it is.
    pub fn settle(&mut self, question: usize) {
        let settled = self.questions().into_iter().nth(question);
        let Ok(layout) = self.layout_mut() else {
            return;
        };
        let Some(question) = settled else { return };
        if let Some(doubt) = question.doubt {
            layout.doubts.remove(doubt);
        }
        if let Some(film) = question.film.and_then(|film| layout.films.get_mut(film)) {
            film.top.doubtful = false;
            film.bottom.doubtful = false;
        }
        if question.film.is_some() || question.films.is_some() {
            self.card_mut().place.judged = true;
        }
    }
}

fn no_film(film: usize) -> Error {
    Error::Layout(format!(
        "there is no film {} on this card. Choose one of those shown.",
        film.saturating_add(1)
    ))
}
