//! Which changes can be taken back, and when the last copy of everything went out.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};

/// Changes that can be taken back.
const MOST: usize = 40;
/// What they may take together, in bytes. One change alone may take more.
const MOST_BYTES: usize = 24 << 20;

/// What is noted of one change; the change itself lies under its key.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Noted {
    key: u32,
    words: String,
    bytes: usize,
}

/// The last copy that went out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Copied {
    /// ISO 8601.
    pub when: String,
}

/// Changes in order, and what came after the last copy.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct History {
    next: u32,
    done: Vec<Noted>,
    undone: Vec<Noted>,
    copy: Option<Copied>,
    /// Changes of the shelf since then.
    since: u32,
    /// Pictures worked on since then.
    pictures: BTreeSet<u32>,
}

/// What to say of the last copy.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Reminder {
    /// When the last copy went out and what came after.
    pub words: String,
    /// Whether it is time for another.
    pub due: bool,
}

/// A copy is old after so many days, if anything changed since (ours).
const OLD_DAYS: i64 = 30;
/// So many changes are worth a copy at any time (ours).
const MANY: usize = 12;

impl History {
    /// What was noted. Without it nothing can be taken back, but nothing kept is lost: what cannot be read counts as nothing.
    pub fn read(text: &str) -> Self {
        serde_json::from_str(text).unwrap_or_default()
    }

    /// The text to be kept.
    pub fn write(&self) -> String {
        serde_json::to_string(self).expect("notes are plain texts and numbers")
    }

    /// Notes a change of so many bytes. Gives its key, and keys of those that can no longer be taken back.
    pub fn add(&mut self, words: &str, bytes: usize) -> (u32, Vec<u32>) {
        let mut dropped: Vec<u32> = self.undone.drain(..).map(|old| old.key).collect();
        let key = self.next;
        self.next += 1;
        self.since = self.since.saturating_add(1);
        self.done.push(Noted {
            key,
            words: words.to_owned(),
            bytes,
        });
        let mut all: usize = self.done.iter().map(|noted| noted.bytes).sum();
        while self.done.len() > MOST || (all > MOST_BYTES && self.done.len() > 1) {
            let old = self.done.remove(0);
            all -= old.bytes;
            dropped.push(old.key);
        }
        (key, dropped)
    }

    /// Goes one change back, or forward again: its key and words.
    pub fn step(&mut self, back: bool) -> Option<(u32, String)> {
        let (from, to) = if back {
            (&mut self.done, &mut self.undone)
        } else {
            (&mut self.undone, &mut self.done)
        };
        let noted = from.pop()?;
        let step = (noted.key, noted.words.clone());
        to.push(noted);
        self.since = self.since.saturating_add(1);
        Some(step)
    }

    /// Notes a change that cannot be taken back, nor any before it. Gives the keys of those.
    pub fn forget_changes(&mut self) -> Vec<u32> {
        self.since = self.since.saturating_add(1);
        let (done, undone) = (self.done.drain(..), self.undone.drain(..));
        done.chain(undone).map(|noted| noted.key).collect()
    }

    /// Words of the change that would be taken back.
    pub fn undo(&self) -> Option<&str> {
        self.done.last().map(|noted| noted.words.as_str())
    }

    /// Words of the change that would be made again.
    pub fn redo(&self) -> Option<&str> {
        self.undone.last().map(|noted| noted.words.as_str())
    }

    /// Notes that a picture was worked on. Whether that is news.
    pub fn touch(&mut self, picture: u32) -> bool {
        self.pictures.insert(picture)
    }

    /// Notes that a copy went out.
    pub fn copied(&mut self, when: &str) {
        self.copy = Some(Copied {
            when: when.to_owned(),
        });
        self.since = 0;
        self.pictures.clear();
    }

    /// Whether it is time for a copy. `now` is ISO 8601; `things` says how many tubes and pictures there are.
    pub fn reminder(&self, now: &str, things: usize) -> Reminder {
        let changes = self.since as usize + self.pictures.len();
        let since = match changes {
            0 => "nothing has changed since".to_owned(),
            1 => "one change since".to_owned(),
            n => format!("{n} changes since"),
        };
        match &self.copy {
            None if things == 0 => Reminder {
                words: "There is nothing to copy yet.".to_owned(),
                due: false,
            },
            None => Reminder {
                words: "No copy has been saved yet.".to_owned(),
                due: changes >= MANY || things >= MANY,
            },
            Some(copy) => {
                let days = day_number(now)
                    .zip(day_number(&copy.when))
                    .map(|(now, then)| (now - then).max(0));
                let ago = match days {
                    None => "some time ago".to_owned(),
                    Some(0) => "today".to_owned(),
                    Some(1) => "yesterday".to_owned(),
                    Some(days) => format!("{days} days ago"),
                };
                Reminder {
                    words: format!("The last copy was saved {ago}; {since}."),
                    due: changes >= MANY
                        || (changes > 0 && days.is_none_or(|days| days >= OLD_DAYS)),
                }
            }
        }
    }
}

/// Days since 1970-01-01 of an ISO 8601 date (Howard Hinnant, "chrono-compatible low-level date algorithms": days_from_civil).
pub fn day_number(date: &str) -> Option<i64> {
    let mut parts = date.get(..10)?.split('-');
    let mut next = || parts.next()?.parse::<i64>().ok();
    let (y, m, d) = (next()?, next()?, next()?);
    if !(1..=12).contains(&m) || !(1..=31).contains(&d) {
        return None;
    }
    let y = if m <= 2 { y - 1 } else { y };
    let era = y.div_euclid(400);
    let year = y.rem_euclid(400);
    let day = (153 * (m + if m > 2 { -3 } else { 9 }) + 2) / 5 + d - 1;
    Some(era * 146_097 + year * 365 + year / 4 - year / 100 + day - 719_468)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_are_counted() {
        // `date -u -d DATE +%s` / 86400 by GNU coreutils.
        assert_eq!(day_number("1970-01-01"), Some(0));
        assert_eq!(day_number("2000-03-01"), Some(11_017));
        assert_eq!(day_number("2026-11-26T02:00:00Z"), Some(20_783));
        for none in ["", "soon", "2026-13-01", "2026-1-1"] {
            assert_eq!(day_number(none), None);
        }
    }

    #[test]
    fn a_copy_is_asked_for_when_much_changed_or_the_last_is_old() {
        let mut history = History::default();
        let due = |history: &History, now| history.reminder(now, 3).due;
        assert!(!due(&history, "2026-11-26"));
        history.add("keeping rose", 10);
        history.copied("2026-11-01T10:00:00Z");
        assert!(!due(&history, "2026-12-26"), "nothing changed since");
        history.add("deleting rose", 10);
        assert!(!due(&history, "2026-11-20"));
        assert!(due(&history, "2026-12-26"));
        let said = history.reminder("2026-12-26", 3).words;
        assert_eq!(
            said,
            "The last copy was saved 55 days ago; one change since."
        );
        (0..MANY).for_each(|_| drop(history.add("renaming rose", 10)));
        assert!(due(&history, "2026-11-02"));
    }

    #[test]
    fn what_can_be_taken_back_is_bounded() {
        let mut history = History::default();
        let mut there = BTreeSet::new();
        for _ in 0..3 * MOST {
            let (key, dropped) = history.add("keeping", 1);
            there.insert(key);
            dropped.iter().for_each(|key| assert!(there.remove(key)));
        }
        assert_eq!(there.len(), MOST);
        let (key, dropped) = history.add("bringing a copy in", 2 * MOST_BYTES);
        assert_eq!((dropped.len(), history.step(true).unwrap().0), (MOST, key));
    }
}
