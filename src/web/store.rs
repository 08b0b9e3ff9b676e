//! What the browser keeps (IndexedDB), from a worker: paints and pictures.
//!
//! A paint is kept as the text of its pigment file and a picture as its own text, under a number that the browser gives
//! out, so that there is one format of each, and one place (`paint::file`, `picture::plan`) where older ones are read. A change is one transaction and is reported done
//! only once the browser says that it is complete: after a crash a record is there whole or not at all.

use js_sys::{Array, Function, Object, Promise, Reflect};
use wasm_bindgen::prelude::*;
use wasm_bindgen_futures::JsFuture;
use web_sys::{
    DomException, IdbDatabase, IdbObjectStore, IdbOpenDbRequest, IdbRequest, IdbTransaction,
    IdbVersionChangeEvent, WorkerGlobalScope,
};

use crate::{Error, Result};

const DATABASE: &str = "twoground";
/// Version of the database's structure. A higher one needs a step in [`migrate`].
const VERSION: u32 = 2;
/// Modes of a transaction.
const LOOK: &str = "readonly";
const CHANGE: &str = "readwrite";

/// One kind of thing that is kept, in a part of the database of its own.
pub struct Shelf {
    /// Name of the part.
    name: &'static str,
    keeping: &'static str,
    showing: &'static str,
    deleting: &'static str,
}

/// Pigment files.
pub const PAINTS: Shelf = Shelf {
    name: "paints",
    keeping: "could not keep the paint",
    showing: "could not show the paints",
    deleting: "could not delete the paint",
};

/// Saved pictures.
pub const PICTURES: Shelf = Shelf {
    name: "pictures",
    keeping: "could not keep the picture",
    showing: "could not show the pictures",
    deleting: "could not delete the picture",
};

impl Shelf {
    /// Keeps a text: a new one, or in place of the one with the number given. Gives its number.
    pub async fn put(&self, id: Option<u32>, text: &str) -> Result<u32> {
        let request = within(self, self.keeping, CHANGE, |store| {
            let text = JsValue::from_str(text);
            match id {
                Some(id) => store.put_with_key(&text, &JsValue::from(id)),
                None => store.put(&text),
            }
        })
        .await?;
        number(&result(self.keeping, &request)?)
            .ok_or_else(|| failed(self.keeping, "it gave no number".to_owned()))
    }

    /// All texts with their numbers, in the order in which they were first kept.
    pub async fn all(&self) -> Result<Vec<(u32, String)>> {
        let (keys, values) = within(self, self.showing, LOOK, |store| {
            Ok((store.get_all_keys()?, store.get_all()?))
        })
        .await?;
        let keys = Array::from(&result(self.showing, &keys)?);
        let values = Array::from(&result(self.showing, &values)?);
        keys.iter()
            .zip(values.iter())
            .map(|(key, value)| {
                let id = number(&key).ok_or_else(|| {
                    failed(self.showing, format!("{key:?} is not a number it gave out"))
                })?;
                Ok((id, text(self.showing, id, &value)?))
            })
            .collect()
    }

    /// Removes one. Removing one that is not there changes nothing.
    pub async fn remove(&self, id: u32) -> Result<()> {
        within(self, self.deleting, CHANGE, |store| {
            store.delete(&JsValue::from(id))
        })
        .await
        .map(drop)
    }
}

/// One transaction: asks, waits until the browser reports it complete, and gives back the requests, now answered.
///
/// The database is opened for each, so that no window ever stands in the way of a newer version's migration.
async fn within<T>(
    shelf: &Shelf,
    doing: &'static str,
    mode: &'static str,
    ask: impl FnOnce(&IdbObjectStore) -> std::result::Result<T, JsValue>,
) -> Result<T> {
    let database = open(doing).await?;
    let outcome = transact(&database, shelf.name, mode, ask).await;
    database.close();
    outcome.map_err(|error| failed(doing, reason(&error)))
}

async fn transact<T>(
    database: &IdbDatabase,
    name: &'static str,
    mode: &'static str,
    ask: impl FnOnce(&IdbObjectStore) -> std::result::Result<T, JsValue>,
) -> std::result::Result<T, JsValue> {
    let transaction = begin(database, name, mode)?;
    let ended = Promise::new(&mut |resolve, reject| {
        transaction.set_oncomplete(Some(&resolve));
        transaction.set_onabort(Some(&reject));
    });
    let asked = ask(&transaction.object_store(name)?);
    if asked.is_err() {
        transaction.abort()?;
    }
    match (JsFuture::from(ended).await, asked) {
        (Ok(_), Ok(requests)) => Ok(requests),
        (_, Err(error)) => Err(error),
        (Err(_), Ok(_)) => Err(transaction
            .error()
            .map_or(JsValue::UNDEFINED, JsValue::from)),
    }
}

/// `database.transaction(name, mode, { durability: "strict" })`: complete then means written to the disk, where the
/// browser can promise that. By reflection, because web-sys counts the third argument as unstable.
fn begin(
    database: &IdbDatabase,
    name: &str,
    mode: &str,
) -> std::result::Result<IdbTransaction, JsValue> {
    let options = Object::new();
    Reflect::set(&options, &"durability".into(), &"strict".into())?;
    let transaction: Function = Reflect::get(database, &"transaction".into())?.dyn_into()?;
    transaction
        .call3(database, &name.into(), &mode.into(), &options)?
        .dyn_into()
}

async fn open(doing: &'static str) -> Result<IdbDatabase> {
    let request = ask_to_open().map_err(|error| failed(doing, reason(&error)))?;
    let upgrade = Closure::once(migrate);
    request.set_onupgradeneeded(Some(upgrade.as_ref().unchecked_ref()));
    let opened = Promise::new(&mut |resolve, reject| {
        request.set_onsuccess(Some(&resolve));
        request.set_onerror(Some(&reject));
        request.set_onblocked(Some(&reject));
    });
    let outcome = JsFuture::from(opened).await;
    match (outcome, request.error()) {
        (Ok(_), _) => Ok(result(doing, &request)?.unchecked_into()),
        (Err(_), Ok(error)) => Err(failed(
            doing,
            error.map_or_else(unknown, |error| reason(&error)),
        )),
        // Still pending: it is the event for "blocked". The migration goes on without us once nobody is in its way.
        (Err(_), Err(_)) => {
            let close = Closure::once_into_js(|event: web_sys::Event| {
                let request: Option<IdbOpenDbRequest> =
                    event.target().and_then(|target| target.dyn_into().ok());
                if let Some(database) = request.and_then(|request| request.result().ok()) {
                    database.unchecked_into::<IdbDatabase>().close();
                }
            });
            request.set_onsuccess(Some(close.unchecked_ref()));
            // It may be called after this function has returned.
            upgrade.forget();
            Err(failed(
                doing,
                "another window holds it with an older version of this program; close that window and try again"
                    .to_owned(),
            ))
        }
    }
}

fn ask_to_open() -> std::result::Result<IdbOpenDbRequest, JsValue> {
    let scope: WorkerGlobalScope = js_sys::global().dyn_into()?;
    let factory = scope.indexed_db()?.ok_or(JsValue::UNDEFINED)?;
    factory.open_with_u32(DATABASE, VERSION)
}

/// Brings the database's structure from the version it has to [`VERSION`], one step after the other. An exception
/// thrown here makes the browser undo the whole migration.
fn migrate(event: IdbVersionChangeEvent) -> std::result::Result<(), JsValue> {
    let request: IdbOpenDbRequest = event.target().ok_or(JsValue::UNDEFINED)?.unchecked_into();
    let database: IdbDatabase = request.result()?.unchecked_into();
    // From nothing (version 0) to version 1, paints; from there to version 2, pictures beside them.
    for (version, shelf) in [(1.0, PAINTS), (2.0, PICTURES)] {
        if event.old_version() < version {
            let parameters = web_sys::IdbObjectStoreParameters::new();
            parameters.set_auto_increment(true);
            database.create_object_store_with_optional_parameters(shelf.name, &parameters)?;
        }
    }
    Ok(())
}

fn result(doing: &'static str, request: &IdbRequest) -> Result<JsValue> {
    request
        .result()
        .map_err(|error| failed(doing, reason(&error)))
}

fn number(key: &JsValue) -> Option<u32> {
    let number = key.as_f64()?;
    let whole = number as u32;
    (f64::from(whole) == number).then_some(whole)
}

fn text(doing: &'static str, id: u32, value: &JsValue) -> Result<String> {
    value
        .as_string()
        .ok_or_else(|| failed(doing, format!("what is kept under number {id} is not text")))
}

fn failed(doing: &'static str, reason: String) -> Error {
    Error::Outside {
        what: "The browser's storage",
        doing,
        reason,
    }
}

/// The exception's name (its message is often empty), with what to do where that is known.
fn reason(error: &JsValue) -> String {
    let Some(exception) = error.dyn_ref::<DomException>() else {
        return if error.is_undefined() {
            unknown()
        } else {
            format!("{error:?}")
        };
    };
    let name = exception.name();
    match name.as_str() {
        "QuotaExceededError" => {
            format!("there is no room left ({name}); delete paints, or free some space on the disk")
        }
        "VersionError" => {
            format!("it was written by a newer version of this program ({name}); use that version")
        }
        "SecurityError" | "InvalidStateError" => {
            format!(
                "this window may not keep anything ({name}); leave private browsing, or allow this page to store data"
            )
        }
        _ => format!("{name} {}", exception.message())
            .trim_end()
            .to_owned(),
    }
}

fn unknown() -> String {
    "it did not say why; leave private browsing, or allow this page to store data".to_owned()
}
