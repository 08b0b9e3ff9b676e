//! Changes, undo and merges on a store in memory that keeps the promises of a browser's: transactions whole or not at all,
//! numbers never given out twice.

use std::{
    cell::RefCell,
    collections::BTreeMap,
    fs,
    future::Future,
    path::Path,
    pin::pin,
    task::{Context, Poll, Waker},
};

use proptest::prelude::*;

use super::{
    copy::{self, Choice, Copy, KeptText, Standing},
    *,
};
use crate::{
    paint::Record,
    picture::plan::{Correction, Plan, PlannedFilm, Thinning},
};

#[derive(Debug, Clone, Default, PartialEq)]
struct Memory {
    /// It takes nothing more.
    full: bool,
    texts: BTreeMap<(Place, u32), String>,
    next: BTreeMap<Place, u32>,
}

/// A transaction on it.
struct Within<'a>(&'a RefCell<Memory>);

impl Transaction for Within<'_> {
    async fn read(&self, place: Place, id: u32) -> Result<Option<String>> {
        Ok(self.0.borrow().texts.get(&(place, id)).cloned())
    }

    async fn write(&self, place: Place, id: Option<u32>, text: &str) -> Result<u32> {
        let mut memory = self.0.borrow_mut();
        if memory.full {
            return Err(Error::Refused("There is no room left.".to_owned()));
        }
        let next = memory.next.entry(place).or_insert(1);
        let id = id.unwrap_or(*next);
        *next = (*next).max(id + 1);
        memory.texts.insert((place, id), text.to_owned());
        Ok(id)
    }

    async fn clear(&self, place: Place, id: u32) -> Result<()> {
        self.0.borrow_mut().texts.remove(&(place, id));
        Ok(())
    }
}

/// The value of a future that never waits.
fn now<T>(future: impl Future<Output = T>) -> T {
    match pin!(future).poll(&mut Context::from_waker(Waker::noop())) {
        Poll::Ready(value) => value,
        Poll::Pending => unreachable!("memory never waits"),
    }
}

#[derive(Default)]
struct Store(RefCell<Memory>);

impl Store {
    /// Whole or not at all.
    fn within<T>(&self, work: impl AsyncFnOnce(&Within) -> Result<T>) -> Result<T> {
        let before = self.0.borrow().clone();
        let outcome = now(work(&Within(&self.0)));
        if outcome.is_err() {
            *self.0.borrow_mut() = before;
        }
        outcome
    }

    fn commit(&self, words: &str, wishes: Vec<Wish>) -> Result<Vec<u32>> {
        self.within(async |store| commit(store, words, wishes).await)
    }

    fn step(&self, back: bool) -> Result<Option<(String, Vec<Step>)>> {
        self.within(async |store| step(store, back).await)
    }

    fn kept(&self, part: Part) -> Vec<KeptText> {
        let memory = self.0.borrow();
        let of = memory
            .texts
            .iter()
            .filter(|((place, _), _)| *place == Place::Kept(part));
        of.map(|((_, id), text)| (*id, text.clone())).collect()
    }

    fn all(&self) -> [Vec<KeptText>; 2] {
        [self.kept(Part::Paints), self.kept(Part::Pictures)]
    }
}

/// What someone does in one of two windows, on what that window saw last.
#[derive(Debug, Clone)]
enum Act {
    Look,
    Keep,
    Relabel(usize),
    Delete(usize),
    Undo,
    Redo,
}

fn act() -> impl Strategy<Value = (bool, Act)> {
    let what = prop_oneof![
        2 => Just(Act::Look),
        3 => Just(Act::Keep),
        3 => (0..6_usize).prop_map(Act::Relabel),
        3 => (0..6_usize).prop_map(Act::Delete),
        2 => Just(Act::Undo),
        1 => Just(Act::Redo),
    ];
    (any::<bool>(), what)
}

proptest! {
    /// Whatever two windows do in whatever order, a change happens only to what its window has seen, and all of it can be
    /// taken back to the first state and made again to the last.
    #[test]
    fn two_windows_never_overwrite_each_other(acts in prop::collection::vec(act(), 1..30)) {
        let store = Store::default();
        let mut seen: [Vec<KeptText>; 2] = Default::default();
        let mut ever: BTreeMap<u32, String> = BTreeMap::new();
        for (i, (window, what)) in acts.into_iter().enumerate() {
            let view = &mut seen[usize::from(window)];
            let before = store.kept(Part::Paints);
            let of = |i: &usize| (!view.is_empty()).then(|| view[i % view.len()].clone());
            let text = format!("text {i}");
            let (wish, target) = match &what {
                Act::Look => { *view = before; continue; }
                Act::Keep => (Wish::new(Part::Paints, text.clone()), None),
                Act::Relabel(i) => match of(i) {
                    Some((id, was)) => (Wish::replace(Part::Paints, id, was.clone(), text.clone()), Some((id, was))),
                    None => continue,
                },
                Act::Delete(i) => match of(i) {
                    Some((id, was)) => (Wish::delete(Part::Paints, id, was.clone()), Some((id, was))),
                    None => continue,
                },
                Act::Undo | Act::Redo => {
                    store.step(matches!(what, Act::Undo)).expect("nothing else changes texts here");
                    continue;
                }
            };
            let fresh = target.as_ref().is_none_or(|target| before.contains(target));
            let outcome = store.commit(&text, vec![wish]);
            prop_assert_eq!(outcome.is_ok(), fresh, "{:?}", outcome);
            match outcome {
                Ok(ids) if target.is_none() => {
                    // A number is never given out twice, also after it was deleted: pictures refer to it.
                    prop_assert!(ever.insert(ids[0], text).is_none());
                }
                Ok(_) => {}
                Err(error) => {
                    prop_assert_eq!(error.code(), "changed-elsewhere");
                    prop_assert_eq!(store.kept(Part::Paints), before);
                }
            }
        }
        let last = store.kept(Part::Paints);
        let mut steps = 0;
        while store.step(true).unwrap().is_some() { steps += 1; }
        prop_assert_eq!(store.kept(Part::Paints), Vec::new());
        for _ in 0..steps { store.step(false).unwrap(); }
        prop_assert_eq!(store.kept(Part::Paints), last);
    }

    /// A copy brought into any other shelf: all of it is there afterwards, nothing that was there is lost or changed unless
    /// chosen, pictures refer to the same paints, a second time changes nothing, and one undo takes all of it back.
    #[test]
    fn a_copy_comes_in_whole(
        there in prop::collection::vec((0..4_usize, 0..3_usize), 0..4),
        here in prop::collection::vec((0..4_usize, 0..3_usize), 0..4),
        choices in prop::collection::vec(prop_oneof![Just(Choice::Mine), Just(Choice::Theirs), Just(Choice::Both)], 8),
    ) {
        let (other, own) = (shelf(&there), shelf(&here));
        let [paints, pictures] = other.all();
        let copy = Copy::read(&Copy::of(&paints, &pictures, "2026-11-26T02:00:00Z").write()).unwrap();
        let before = own.all();
        let lines = copy.preview(&before[0], &before[1]);
        prop_assert_eq!(lines.len(), paints.len() + pictures.len());
        let wishes = copy::wishes(&lines, &choices);
        let new = wishes.iter().filter(|wish| wish.id.is_none()).count();
        let changed = wishes.len();
        if changed > 0 {
            own.commit("bringing a copy in", wishes).unwrap();
        }
        let after = own.all();
        prop_assert_eq!(after.iter().map(Vec::len).sum::<usize>(), before.iter().map(Vec::len).sum::<usize>() + new);
        for (line, choice) in lines.iter().zip(&choices) {
            let differs = line.standing == Standing::Differs;
            // Pigment files are kept as the copy has them; pictures with the keys of this shelf.
            if line.part == Part::Paints {
                let there = after[0].iter().any(|(_, text)| Record::read(text).unwrap().paint.name == line.name);
                prop_assert!(there || (differs && *choice == Choice::Mine));
            }
        }
        for (text, before) in before.iter().zip(&after) {
            let lost = text.iter().filter(|kept| !before.contains(kept)).count();
            let theirs = lines.iter().zip(&choices).filter(|(line, choice)| line.standing == Standing::Differs && **choice == Choice::Theirs).count();
            prop_assert!(lost <= theirs);
        }
        // Every film of a picture that came in lies under the paint that it had there.
        for (id, text) in &after[1] {
            if before[1].iter().any(|(old, _)| old == id) && !lines.iter().any(|line| line.standing == Standing::Differs) {
                continue;
            }
            for film in Plan::read(text).unwrap().films {
                let tube = after[0].iter().find(|(id, _)| tube_key(*id) == film.tube);
                let record = Record::read(&tube.expect("the tube came along").1).unwrap();
                prop_assert_eq!(&record.provenance.file_name, &film.name);
            }
        }
        let again = copy.preview(&after[0], &after[1]);
        let fresh = again.iter().filter(|line| line.standing == Standing::New).count();
        prop_assert_eq!(fresh, 0);
        if changed > 0 {
            own.step(true).unwrap();
            prop_assert_eq!(own.all(), before);
        }
    }
}

/// A store without room takes no note of what was deleted: for good it goes all the same, and only it.
#[test]
fn a_full_store_lets_things_go_for_good() {
    let store = Store::default();
    let [one, other] = [tube(0, 0), tube(1, 0)];
    for text in [&one, &other] {
        let wish = Wish::new(Part::Paints, text.clone());
        store.commit("keeping", vec![wish]).unwrap();
    }
    let when = "2026-11-01T10:00:00Z";
    store.within(async |open| copied(open, when).await).unwrap();
    store.0.borrow_mut().full = true;
    let [(first, _), (second, _)] = store.kept(Part::Paints)[..] else {
        panic!("two tubes are kept");
    };
    let gone = |id, seen: &str| vec![Wish::delete(Part::Paints, id, seen.to_owned())];
    let before = store.0.borrow().clone();
    assert!(store.commit("deleting", gone(first, &one)).is_err());
    let for_good = |wishes| store.within(async |open| delete_for_good(open, wishes).await);
    // What another window changed stays here too.
    let elsewhere = for_good(gone(first, &other)).unwrap_err();
    assert_eq!(elsewhere.code(), "changed-elsewhere");
    assert_eq!(*store.0.borrow(), before);
    let left = for_good(gone(first, &one)).unwrap();
    assert_eq!(store.kept(Part::Paints), [(second, other)]);
    // Nothing else is left of it, and nothing is offered that could not be done.
    assert_eq!(store.0.borrow().texts.len(), 1);
    assert_eq!(store.step(true).unwrap(), None);
    // Once there is room again, it is still known when the last copy went out.
    store.0.borrow_mut().full = false;
    store
        .within(async |open| note_over_nothing(open, &left).await)
        .unwrap();
    assert_eq!(store.step(true).unwrap(), None);
    let history = store.within(async |open| look(open).await).unwrap();
    assert_eq!(
        history.reminder("2026-11-02", 1).words,
        "The last copy was saved yesterday; one change since."
    );
}

/// Between deleting for good and noting what stays of it another window may keep a tube: that can still be taken back.
#[test]
fn what_stays_to_be_noted_is_written_over_nothing() {
    let store = Store::default();
    let one = tube(0, 0);
    let wish = Wish::new(Part::Paints, one.clone());
    let ids = store.commit("keeping", vec![wish]).unwrap();
    let gone = vec![Wish::delete(Part::Paints, ids[0], one)];
    let left = store
        .within(async |open| delete_for_good(open, gone).await)
        .unwrap();
    let other = Wish::new(Part::Paints, tube(1, 0));
    store.commit("keeping another", vec![other]).unwrap();
    store
        .within(async |open| note_over_nothing(open, &left).await)
        .unwrap();
    let back = store.step(true).unwrap().map(|(words, _)| words);
    assert_eq!(back.as_deref(), Some("keeping another"));
    assert!(store.kept(Part::Paints).is_empty());
}

/// A sample of this number under a label of this number; the file name says which sample it is.
fn tube(sample: usize, label: usize) -> String {
    const NAMES: [&str; 4] = ["cliff-rose", "storm-blue", "foam-white", "lantern-gold"];
    thread_local! {
        static RECORDS: Vec<Record> = NAMES.map(|name| {
            let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-scans");
            let text = fs::read_to_string(folder.join(format!("{name}.pigment.json"))).expect("a sample");
            Record::read(&text).expect("a pigment file")
        }).into();
    }
    let mut record = RECORDS.with(|records| records[sample].clone());
    record.paint.name = format!("{} {label}", NAMES[sample]);
    record.provenance.file_name = NAMES[sample].to_owned();
    record.write()
}

/// A shelf of these tubes (each sample once), with a picture that has a film of each.
fn shelf(tubes: &[(usize, usize)]) -> Store {
    let store = Store::default();
    let mut films = Vec::new();
    let mut had = Vec::new();
    for &(sample, label) in tubes {
        if had.contains(&sample) {
            continue;
        }
        had.push(sample);
        let text = tube(sample, label);
        let name = Record::read(&text).unwrap().provenance.file_name;
        let ids = store
            .commit("keeping", vec![Wish::new(Part::Paints, text)])
            .unwrap();
        films.push(PlannedFilm {
            tube: tube_key(ids[0]),
            name,
            build: 1.0,
            coats: 1,
            build_log_sd: 0.0,
            way: None,
            thinning: Thinning::default(),
            medium: String::new(),
            unknown: serde_json::Map::new(),
        });
    }
    if !films.is_empty() {
        let mut plan = Plan::new("Harbour", Vec::new());
        plan.films = films;
        store
            .commit("keeping", vec![Wish::new(Part::Pictures, plan.write())])
            .unwrap();
    }
    store
}

#[test]
fn what_went_out_comes_back_to_the_last_byte() {
    let store = shelf(&[(0, 1), (1, 0), (2, 2)]);
    let [paints, pictures] = store.all();
    let text = Copy::of(&paints, &pictures, "2026-11-26").write();
    let copy = Copy::read(&text).unwrap();
    let empty = Store::default();
    let wishes = copy::wishes(&copy.preview(&[], &[]), &[]);
    empty.commit("bringing a copy in", wishes).unwrap();
    assert_eq!(empty.all(), [paints, pictures]);
}

#[test]
fn a_copy_says_what_differs_and_what_is_damaged() {
    let other = shelf(&[(0, 1), (1, 0), (2, 2)]);
    let own = shelf(&[(2, 2), (0, 0)]);
    let mut copy = Copy::of(&other.kept(Part::Paints), &[], "");
    let mut damaged: serde_json::Value = serde_json::from_str(copy.tubes[1].pigment.get()).unwrap();
    damaged["films"][0]["build"] = serde_json::json!(-1);
    copy.tubes[1].pigment = serde_json::value::to_raw_value(&damaged).unwrap();
    let lines = copy.preview(&own.kept(Part::Paints), &[]);
    let standing: Vec<Standing> = lines.iter().map(|line| line.standing).collect();
    assert_eq!(
        standing,
        [Standing::Differs, Standing::Damaged, Standing::Same]
    );
    assert_eq!(
        lines[0].words,
        "name: here “cliff-rose 0”, in the copy “cliff-rose 1”."
    );
    assert!(
        lines[1].words.contains("films[0].build"),
        "{}",
        lines[1].words
    );
    assert!(copy::wishes(&lines, &[]).is_empty());
}

#[test]
fn corrections_follow_their_tubes() {
    let correction = |tube: &str, scatter| Correction {
        tube: tube.into(),
        scatter,
        scatter_log_sd: 0.1,
        unknown: serde_json::Map::new(),
    };
    let mut plan = Plan::new("Harbour", Vec::new());
    plan.corrections = vec![
        correction("kept-1", 1.5),
        correction("kept-2", 0.7),
        correction("kept-3", 2.0),
    ];
    // What was 1 and 3 there is one tube here; what was 2 goes where 1 was.
    copy::rename(&mut plan, |key| match key {
        "kept-1" | "kept-3" => Some("kept-9".into()),
        "kept-2" => Some("kept-1".into()),
        _ => None,
    });
    assert_eq!(
        plan.corrections,
        [correction("kept-9", 1.5), correction("kept-1", 0.7)]
    );
    plan.check().unwrap();
}

#[test]
fn a_file_that_is_no_copy_is_named() {
    for (text, words) in [
        ("", "is not whole JSON"),
        (
            "{\"format\": \"twoground-pigment\"}",
            "another kind of file",
        ),
        (
            "{\"format\": \"twoground-shelf\", \"version\": 9, \"tubes\": []}",
            "Use a newer program",
        ),
        (
            "{\"format\": \"twoground-shelf\", \"version\": 1, \"tubes\": [{}]}",
            "tubes[0] is wrong",
        ),
    ] {
        let said = Copy::read(text).unwrap_err().to_string();
        assert!(said.contains(words), "{said}");
    }
}

#[test]
fn a_picture_that_was_painted_on_elsewhere_is_saved_beside() {
    let store = Store::default();
    let save = |id, seen: Option<&str>, text: &str| {
        store
            .within(async |within| save_picture(within, id, seen, text).await)
            .unwrap()
    };
    let (id, beside) = save(None, None, "sky");
    assert!(!beside);
    assert_eq!(save(Some(id), Some("sky"), "sky and sea"), (id, false));
    // The other window still has it as it was.
    let (other, beside) = save(Some(id), Some("sky"), "sky and sand");
    assert!(beside && other != id);
    assert_eq!(store.kept(Part::Pictures).len(), 2);
    // Deleted meanwhile: the work in hand comes back as another one.
    let delete = Wish::delete(Part::Pictures, id, "sky and sea".into());
    store.commit("deleting sky", vec![delete]).unwrap();
    let (third, beside) = save(Some(id), Some("sky and sea"), "sky, sea, boat");
    assert!(beside && third != id && third != other);
    // And an undo of the deletion brings the deleted one back.
    store.step(true).unwrap();
    assert_eq!(store.kept(Part::Pictures).len(), 3);
}
