//! The printed count sheet: phrases down, counts across, words in the boxes, as dance teachers write it on paper.

mod html;

pub(super) use html::html;
