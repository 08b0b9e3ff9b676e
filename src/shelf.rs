//! The shelf: what is kept, how it changes and is undone, how a copy goes out and comes in again. Without a browser.
//!
//! A change is a list of steps, each from one text to another of one kept thing, and is made in one transaction that first
//! looks whether everything still is as the painter saw it. Two windows can so never overwrite each other: the later one is
//! told. Whatever was changed is noted in the same transaction, and can be taken back from any window, also after a reload.

pub mod copy;
pub mod history;
#[cfg(test)]
mod tests;

use serde::{Deserialize, Serialize};

use crate::{Error, Result, picture::plan::Plan};

pub use history::{Copied, History};

/// What is kept, each under numbers of its own.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Part {
    /// Pigment files.
    Paints,
    /// Saved pictures.
    Pictures,
}

/// Where something lies in the store.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Place {
    /// What the painter keeps.
    Kept(Part),
    /// Changes that can be taken back, whole.
    Changes,
    /// The [`History`], under number 0.
    About,
}

/// One open transaction on the store: all that is written becomes true together, or nothing of it.
#[expect(
    async_fn_in_trait,
    reason = "one thread, as everywhere in a browser's worker"
)]
pub trait Transaction {
    /// The text under a number, if there is one.
    ///
    /// # Errors
    /// What the store says; the transaction is then lost.
    async fn read(&self, place: Place, id: u32) -> Result<Option<String>>;
    /// Writes a text, under a number that was never given out where none is named. Gives the number.
    ///
    /// # Errors
    /// As [`Transaction::read`].
    async fn write(&self, place: Place, id: Option<u32>, text: &str) -> Result<u32>;
    /// Removes what is there.
    ///
    /// # Errors
    /// As [`Transaction::read`].
    async fn clear(&self, place: Place, id: u32) -> Result<()>;
}

/// One thing to be changed.
#[derive(Debug, Clone, PartialEq)]
pub struct Wish {
    /// What kind of thing.
    pub part: Part,
    /// Its number; a new one has none yet.
    pub id: Option<u32>,
    /// How the painter saw it; nothing for a new one.
    pub seen: Option<String>,
    /// What it becomes; nothing for one that is deleted.
    pub text: Option<String>,
    /// For a picture: keys of tubes in it that stand for what the wish of this number becomes.
    pub tubes: Vec<(String, usize)>,
}

impl Wish {
    /// A new thing.
    pub fn new(part: Part, text: String) -> Self {
        Self {
            part,
            id: None,
            seen: None,
            text: Some(text),
            tubes: Vec::new(),
        }
    }

    /// One that becomes another.
    pub fn replace(part: Part, id: u32, seen: String, text: String) -> Self {
        Self {
            id: Some(id),
            seen: Some(seen),
            ..Self::new(part, text)
        }
    }

    /// One that goes.
    pub fn delete(part: Part, id: u32, seen: String) -> Self {
        Self {
            part,
            id: Some(id),
            seen: Some(seen),
            text: None,
            tubes: Vec::new(),
        }
    }
}

/// One step of a change that was made.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Step {
    /// What kind of thing.
    pub part: Part,
    /// Its number.
    pub id: u32,
    /// How it was.
    pub before: Option<String>,
    /// How it is since.
    pub after: Option<String>,
}

/// Number of the history's own text.
const HISTORY: u32 = 0;

/// Key of a kept tube in pictures.
pub fn tube_key(id: u32) -> String {
    format!("kept-{id}")
}

async fn history(store: &impl Transaction) -> Result<History> {
    Ok(store
        .read(Place::About, HISTORY)
        .await?
        .map_or_else(History::default, |text| History::read(&text)))
}

/// Notes what stays of the changes, where nothing is noted: another window may have changed the shelf since.
///
/// # Errors
/// What the store says.
pub async fn note_over_nothing(store: &impl Transaction, history: &History) -> Result<()> {
    match store.read(Place::About, HISTORY).await? {
        Some(_) => Ok(()),
        None => note(store, history).await,
    }
}

/// Notes the changes so far.
async fn note(store: &impl Transaction, history: &History) -> Result<()> {
    store
        .write(Place::About, Some(HISTORY), &history.write())
        .await
        .map(drop)
}

/// Whether everything is as `of` says it was seen.
async fn still(
    store: &impl Transaction,
    seen: impl Iterator<Item = (Part, u32, Option<&str>)>,
) -> Result<bool> {
    for (part, id, seen) in seen {
        if store.read(Place::Kept(part), id).await?.as_deref() != seen {
            return Ok(false);
        }
    }
    Ok(true)
}

async fn set(store: &impl Transaction, part: Part, id: u32, text: Option<&str>) -> Result<()> {
    match text {
        Some(text) => store
            .write(Place::Kept(part), Some(id), text)
            .await
            .map(drop),
        None => store.clear(Place::Kept(part), id).await,
    }
}

/// Makes a change, called `words` when it is offered to be taken back ("deleting rose"). Gives a number for every wish.
///
/// # Errors
/// [`Error::ChangedElsewhere`] when something is no longer as it was seen: nothing is changed then.
pub async fn commit(store: &impl Transaction, words: &str, wishes: Vec<Wish>) -> Result<Vec<u32>> {
    as_seen(store, &wishes).await?;
    let mut ids: Vec<u32> = Vec::with_capacity(wishes.len());
    let mut steps = Vec::with_capacity(wishes.len());
    for wish in wishes {
        let text = wish.text.map(|text| rekeyed(text, &wish.tubes, &ids));
        let id = match (wish.id, &text) {
            (Some(id), text) => {
                set(store, wish.part, id, text.as_deref()).await?;
                id
            }
            (None, Some(text)) => store.write(Place::Kept(wish.part), None, text).await?,
            (None, None) => {
                return Err(Error::Refused("There is nothing to delete.".to_owned()));
            }
        };
        ids.push(id);
        steps.push(Step {
            part: wish.part,
            id,
            before: wish.seen,
            after: text,
        });
    }
    let body = serde_json::to_string(&steps).expect("steps are plain texts and numbers");
    let mut history = history(store).await?;
    let (key, dropped) = history.add(words, body.len());
    for old in dropped {
        store.clear(Place::Changes, old).await?;
    }
    store.write(Place::Changes, Some(key), &body).await?;
    note(store, &history).await?;
    Ok(ids)
}

async fn as_seen(store: &impl Transaction, wishes: &[Wish]) -> Result<()> {
    let seen = wishes
        .iter()
        .filter_map(|wish| Some((wish.part, wish.id?, wish.seen.as_deref())));
    if still(store, seen).await? {
        Ok(())
    } else {
        Err(Error::ChangedElsewhere)
    }
}

/// Deletes for good, and forgets what could be taken back: a store without room takes no text, so nothing is written. Gives
/// what stays to be noted ([`note_over_nothing`]), once this has made room for it: when the last copy went out.
///
/// # Errors
/// As [`commit`].
pub async fn delete_for_good(store: &impl Transaction, wishes: Vec<Wish>) -> Result<History> {
    as_seen(store, &wishes).await?;
    let mut history = history(store).await?;
    for key in history.forget_changes() {
        store.clear(Place::Changes, key).await?;
    }
    store.clear(Place::About, HISTORY).await?;
    for (part, id) in wishes.iter().filter_map(|wish| Some((wish.part, wish.id?))) {
        store.clear(Place::Kept(part), id).await?;
    }
    Ok(history)
}

/// The picture with other tubes. One that cannot be read stays as it is.
fn rekeyed(text: String, tubes: &[(String, usize)], ids: &[u32]) -> String {
    if tubes.is_empty() {
        return text;
    }
    match Plan::read(&text) {
        Ok(mut plan) => {
            copy::rename(&mut plan, |key| {
                let (_, wish) = tubes.iter().find(|(of, _)| of == key)?;
                ids.get(*wish).copied().map(tube_key)
            });
            plan.write()
        }
        Err(_) => text,
    }
}

/// Takes the last change back, or the last that was taken back again. Gives its words and what it touched, nothing where
/// there is none.
///
/// # Errors
/// [`Error::ChangedElsewhere`] when one of its things was changed since by a way that is not noted (a picture that was
/// painted on): nothing is changed then.
pub async fn step(store: &impl Transaction, back: bool) -> Result<Option<(String, Vec<Step>)>> {
    let mut history = history(store).await?;
    let Some((key, words)) = history.step(back) else {
        return Ok(None);
    };
    let body = store.read(Place::Changes, key).await?;
    let Some(mut steps) = body.and_then(|body| serde_json::from_str::<Vec<Step>>(&body).ok())
    else {
        return Err(Error::Refused(format!(
            "What is needed to take back {words} is no longer there."
        )));
    };
    if !back {
        steps
            .iter_mut()
            .for_each(|step| std::mem::swap(&mut step.before, &mut step.after));
    }
    let now = steps
        .iter()
        .map(|step| (step.part, step.id, step.after.as_deref()));
    if !still(store, now).await? {
        return Err(Error::ChangedElsewhere);
    }
    for step in steps.iter().rev() {
        set(store, step.part, step.id, step.before.as_deref()).await?;
    }
    note(store, &history).await?;
    Ok(Some((words, steps)))
}

/// Saves a picture that is being worked on; that is not a change to be taken back here, since the picture has its own undo.
/// Gives its number, and whether it had to be saved as another one because the one that was opened is no longer as it was
/// seen: both are then kept.
///
/// # Errors
/// What the store says.
pub async fn save_picture(
    store: &impl Transaction,
    id: Option<u32>,
    seen: Option<&str>,
    text: &str,
) -> Result<(u32, bool)> {
    const PICTURES: Place = Place::Kept(Part::Pictures);
    let own = match id {
        Some(id) => still(store, [(Part::Pictures, id, seen)].into_iter()).await?,
        None => true,
    };
    let saved = store.write(PICTURES, id.filter(|_| own), text).await?;
    let mut history = history(store).await?;
    if history.touch(saved) {
        note(store, &history).await?;
    }
    Ok((saved, !own))
}

/// Notes that a copy of everything went out. `when` is ISO 8601.
///
/// # Errors
/// What the store says.
pub async fn copied(store: &impl Transaction, when: &str) -> Result<()> {
    let mut history = history(store).await?;
    history.copied(when);
    note(store, &history).await
}

/// What is noted of the changes so far.
///
/// # Errors
/// What the store says.
pub async fn look(store: &impl Transaction) -> Result<History> {
    history(store).await
}
