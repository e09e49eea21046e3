//! What is remembered from one correction to the next, so that hearing again searches no more than it must.

use super::before::Searched;
use super::pins::Pin;
use super::reread::Rereading;
use super::scores::Scores;
use super::search::Step;
use super::settings::Settings;

/// What was searched for and found before, for the same evidence and settings: a correction of bars or phrases needs no
/// search at all, one of the level mostly only its second half, and one more tap or nudged beat only what comes after it. What
/// is found does not depend on it. For five minutes it takes 14 MB, and a few more once there were wishes; 28 at most, where so
/// many beats are given that a search with wishes is free nearly everywhere.
#[derive(Debug, Clone, Default)]
pub struct Remembered {
    pub(super) scores: Option<Scores>,
    /// How freely the music is played.
    pub(super) wandering: Option<f32>,
    /// The one asked for last comes last.
    paths: Vec<(Asked, Vec<Step>)>,
    /// Of the last search without wishes.
    plain: Searched,
    /// Of the last search with wishes. One correction asks for both kinds by turns, which have nothing in common.
    wishing: Searched,
}

/// What a search was asked for.
#[derive(Debug, Clone, PartialEq)]
struct Asked {
    settings: Settings,
    pins: Vec<Pin>,
    reading: Option<Rereading>,
}

/// The most paths that are remembered: a few steps back and forth, each of which may ask for four.
const PATHS: usize = 16;

impl Remembered {
    /// The path that was found for this, or the one that `search` finds.
    pub(super) fn path(
        &mut self,
        settings: &Settings,
        pins: &[Pin],
        reading: Option<&Rereading>,
        search: impl FnOnce(&mut Searched) -> Vec<Step>,
    ) -> Vec<Step> {
        let asked = Asked { settings: settings.clone(), pins: pins.to_vec(), reading: reading.cloned() };
        let known = self.paths.iter().position(|(other, _)| *other == asked);
        let (asked, path) = match known {
            Some(known) => self.paths.remove(known),
            None => {
                let path = search(if reading.is_some() { &mut self.wishing } else { &mut self.plain });
                (asked, path)
            }
        };
        // What is asked for at every correction, as the beats without her say are, must not be the first to go.
        if self.paths.len() >= PATHS {
            self.paths.remove(0);
        }
        self.paths.push((asked, path.clone()));
        path
    }
}
