//! Steps under glass that can be taken back and taken again, whatever they changed: where films lie, how thick they lie there, the
//! picture's own films, and places of known colour.

use std::sync::Arc;

use super::{MOST_STEPS, glass::Area};
use crate::{
    glass::{
        light::Known,
        mask::{Mask, Piece},
    },
    picture::plan::PlannedFilm,
};

/// Most of masks that is remembered, in bytes.
const MOST_REMEMBERED: usize = 48 << 20;

/// All that a step can change.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct State {
    /// The areas with their masks.
    pub(super) areas: Vec<Area>,
    /// The picture's own films.
    pub(super) films: Vec<PlannedFilm>,
    /// Places of known colour.
    pub(super) known: Vec<Known>,
}

/// A state as it differs from the one that it is reached from.
struct Step {
    /// Its areas without their masks.
    bare: State,
    /// For each area that has a mask, what of it is unlike the mask of the same place in the state that this is reached from.
    masks: Vec<Option<Option<Piece>>>,
    /// The area that is chosen here, and there.
    chosen: [usize; 2],
}

impl Step {
    /// From `is` to `was`.
    fn between(was: &State, is: &State, chosen: [usize; 2]) -> Self {
        let mut bare = was.clone();
        bare.areas.iter_mut().for_each(|area| area.mask = None);
        let masks = was.areas.iter().enumerate().map(|(i, area)| {
            let other = is.areas.get(i).and_then(|area| area.mask.as_ref());
            area.mask.as_ref().map(|mask| {
                let same = other.is_some_and(|other| Arc::ptr_eq(mask, other));
                if same {
                    None
                } else {
                    mask.unlike(other.map(|other| &**other))
                }
            })
        });
        Self {
            masks: masks.collect(),
            bare,
            chosen,
        }
    }

    /// Where it leads from this state.
    fn from(&self, is: &State, [width, height]: [usize; 2]) -> State {
        let mut to = self.bare.clone();
        for (i, (area, piece)) in to.areas.iter_mut().zip(&self.masks).enumerate() {
            area.mask = piece.as_ref().map(|piece| {
                let there = is.areas.get(i).and_then(|area| area.mask.clone());
                let mut mask = there.unwrap_or_else(|| Arc::new(Mask::new(width, height, 0)));
                if let Some(piece) = piece {
                    Arc::make_mut(&mut mask).put(piece);
                }
                mask
            });
        }
        to
    }

    fn bytes(&self) -> usize {
        let pieces = self.masks.iter().flatten().flatten();
        pieces.map(|piece| piece.values.len()).sum()
    }
}

/// Steps back and steps again.
#[derive(Default)]
pub(super) struct Steps {
    past: Vec<Step>,
    future: Vec<Step>,
}

impl Steps {
    /// Notes that one state became another, and which area was chosen before and after; nothing where they are the same.
    pub(super) fn note(&mut self, was: &State, is: &State, chosen: [usize; 2]) {
        if was == is {
            return;
        }
        self.future.clear();
        self.past.push(Step::between(was, is, chosen));
        while self.past.len() > MOST_STEPS
            || (self.past.len() > 1
                && self.past.iter().map(Step::bytes).sum::<usize>() > MOST_REMEMBERED)
        {
            self.past.remove(0);
        }
    }

    /// Forgets everything, where another painting's work is taken up.
    pub(super) fn forget(&mut self) {
        *self = Self::default();
    }

    /// Whether there is a step to take back, and one to take again.
    pub(super) fn open(&self) -> [bool; 2] {
        [!self.past.is_empty(), !self.future.is_empty()]
    }

    /// The state a step back or again from this one, with masks of this size, and the area that is chosen there.
    pub(super) fn step(
        &mut self,
        back: bool,
        is: &State,
        size: [usize; 2],
    ) -> Option<(State, usize)> {
        let (from, onto) = if back {
            (&mut self.past, &mut self.future)
        } else {
            (&mut self.future, &mut self.past)
        };
        let step = from.pop()?;
        let to = step.from(is, size);
        let [chosen, left] = step.chosen;
        onto.push(Step::between(is, &to, [left, chosen]));
        Some((to, chosen))
    }
}

#[cfg(test)]
mod tests {
    use std::io::Cursor;

    use proptest::prelude::*;

    use super::{
        super::{OpenGlass, OpenPicture},
        *,
    };
    use crate::{glass::mask::Way, page::Change, picture::plan::Plan};

    const WIDTH: u32 = 60;
    const HEIGHT: u32 = 40;

    /// A painting of stripes, and a picture of two films of one tube that is not at hand.
    fn opened() -> (OpenGlass, Plan) {
        let stripes = image::RgbImage::from_fn(WIDTH, HEIGHT, |x, y| {
            image::Rgb([(x * 9 % 256) as u8, (y * 11 % 256) as u8, 90])
        });
        let mut bytes = Cursor::new(Vec::new());
        stripes
            .write_to(&mut bytes, image::ImageFormat::Png)
            .unwrap();
        let mut open = OpenGlass::new(&bytes.into_inner(), "stripes.png", false).unwrap();
        let film: PlannedFilm =
            serde_json::from_str(r#"{"tube": "a", "name": "A", "build": 1.0, "coats": 1}"#)
                .unwrap();
        let mut plan = Plan::new("Harbour", Vec::new());
        plan.films = vec![film.clone(), film];
        open.use_picture(&plan.write(), None).unwrap();
        (open, plan)
    }

    /// One thing that a painter does; turning to another area is no step.
    fn act(open: &mut OpenGlass, plan: &mut Plan, what: u8, by: f64, at: [[f64; 2]; 2]) {
        let way = if by < 0.7 { Way::Add } else { Way::Remove };
        match what {
            0 => {
                open.begin_stroke(way);
                open.brush(at, 10.0 * by, by, 1.0, way);
                open.brush([at[1], [30.0, 20.0]], 10.0 * by, by, by, way);
                open.end();
            }
            1 => {
                open.begin_stroke(way);
                open.outline(&[at[0], at[1], [5.0, 35.0]], 4.0 * by, way);
                open.end();
            }
            2 => {
                // Tried with two reaches.
                open.begin_stroke(way);
                open.grow(at[0], 30.0, by, way);
                open.grow(at[0], 40.0 * by, by, way);
                open.end();
            }
            3 => {
                // Refused where there are as many as can be.
                let _ = open.add_area();
            }
            4 => open.take_area(),
            5 => open.choose_area((9.0 * by) as usize),
            6 => open.whole(),
            7 => open.run((by < 0.8).then_some(at)),
            8 => {
                // A pull in two moves.
                open.set_film(1, Some(2.0 * by)).unwrap();
                open.set_film(1, Some(by)).unwrap();
                open.end();
            }
            9 => {
                let build = [None, Some(0.0)][usize::from(by < 0.5)];
                open.set_film(0, build).unwrap();
                open.end();
            }
            10 => {
                open.plan_build(0, 0.1 + by).unwrap();
                open.plan_build(0, 0.2 + by).unwrap();
                plan.films[0].build = 0.2 + by;
                open.use_picture(&plan.write(), None).unwrap();
            }
            11 => {
                plan.films[0].coats = 1 + (5.0 * by) as u32;
                plan.films.swap(0, 1);
                open.use_picture(&plan.write(), None).unwrap();
            }
            12 => open.whole_mask((by < 0.5).then_some(5.0 * by)),
            13 => open
                .know(at[0], 2.0, [40.0 + 10.0 * by, 0.0, 0.0])
                .unwrap_or(()),
            _ => open.forget(0).unwrap(),
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]

        /// Everything taken back in its order gives what was there at the start, through all that was there between; done again,
        /// what was there at the end.
        #[test]
        fn every_step_goes_back_and_again(
            acts in prop::collection::vec((0..15_u8, 0.0..1.0_f64, [[0.0..60.0_f64, 0.0..40.0_f64], [0.0..60.0_f64, 0.0..40.0_f64]]), 1..30),
        ) {
            let (mut open, mut plan) = opened();
            prop_assert_eq!(open.steps.open(), [false, false]);
            let mut states = vec![open.state()];
            for (what, by, at) in acts {
                act(&mut open, &mut plan, what, by, at);
                prop_assert!(open.before.is_none());
                if states.last() != Some(&open.state()) {
                    states.push(open.state());
                }
            }
            for was in states.iter().rev().skip(1) {
                prop_assert!(open.steps.open()[0]);
                let films = open.state().films;
                let told = open.step(true).unwrap();
                prop_assert_eq!(&open.state(), was);
                // The page puts the picture's own films back, and they come round again: that is no step.
                prop_assert_eq!(told.is_some(), films != was.films);
                if let Some(of) = told {
                    let mut desk = OpenPicture::new("Harbour");
                    desk.change(&Change::Films { of }).unwrap();
                    prop_assert_eq!(&desk.plan.films, &was.films);
                    open.use_picture(&desk.plan.write(), None).unwrap();
                }
            }
            prop_assert_eq!(open.steps.open(), [false, states.len() > 1]);
            for is in states.iter().skip(1) {
                prop_assert!(open.steps.open()[1]);
                open.step(false).unwrap();
                prop_assert_eq!(&open.state(), is);
            }
            prop_assert!(!open.steps.open()[1]);
        }
    }

    #[test]
    fn a_stroke_that_is_still_drawn_is_taken_back_on_its_own_area() {
        let (mut open, _) = opened();
        open.add_area().unwrap();
        let before = open.state();
        open.begin_stroke(Way::Add);
        open.brush([[20.0, 20.0]; 2], 8.0, 0.0, 1.0, Way::Add);
        assert!(open.view().unwrap().undo);
        let after = open.state();
        open.step(true).unwrap();
        assert_eq!(open.state(), before);
        open.choose_area(0);
        // Done again, it is turned to where it lies.
        open.step(false).unwrap();
        assert_eq!((open.state(), open.area), (after, 1));
    }

    /// Many large strokes: the oldest can no longer be taken back, the others can.
    #[test]
    fn what_is_remembered_ends_somewhere() {
        let (open, _) = opened();
        let mut steps = Steps::default();
        let filled = |value: u8| {
            let mut state = open.state();
            state.areas[0].mask = Some(Arc::new(Mask::new(4000, 4000, value)));
            state
        };
        for value in 1..=5 {
            steps.note(&filled(value), &filled(value + 1), [0, 0]);
        }
        let mut now = filled(6);
        for value in (3..=5).rev() {
            now = steps.step(true, &now, [4000, 4000]).unwrap().0;
            assert_eq!(now, filled(value));
        }
        assert!(steps.step(true, &now, [4000, 4000]).is_none());
    }
}
