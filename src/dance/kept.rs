//! What a dance file holds that this program does not know: it is kept and written back, never interpreted.

use super::file::exact;
use serde::ser::SerializeMap;
use serde::{Deserialize, Serialize, Serializer};
use serde_json::value::RawValue;
use serde_json::{Map, Value};
use std::ops::{Deref, DerefMut};

/// A small part of a dance together with the fields of it that this program does not know. It reads and changes like the
/// part itself.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Kept<T> {
    /// What this program knows.
    #[serde(flatten)]
    pub known: T,
    /// Fields that it does not know, kept and written back.
    #[serde(flatten, serialize_with = "exactly")]
    pub unknown: Map<String, Value>,
}

impl<T> From<T> for Kept<T> {
    fn from(known: T) -> Self {
        Self { known, unknown: Map::new() }
    }
}

impl<T> Deref for Kept<T> {
    type Target = T;
    fn deref(&self) -> &T {
        &self.known
    }
}

impl<T> DerefMut for Kept<T> {
    fn deref_mut(&mut self) -> &mut T {
        &mut self.known
    }
}

/// Writes unknown fields as they were read: their numbers are not rounded, whatever is done to the known ones.
pub(super) fn exactly<S: Serializer>(unknown: &Map<String, Value>, serializer: S) -> Result<S::Ok, S::Error> {
    let mut map = serializer.serialize_map(None)?;
    for (key, value) in unknown {
        match RawValue::from_string(exact(value)) {
            Ok(raw) => map.serialize_entry(key, &raw)?,
            // Never: what `exact` writes is JSON. The value itself is the next best.
            Err(_) => map.serialize_entry(key, value)?,
        }
    }
    map.end()
}
