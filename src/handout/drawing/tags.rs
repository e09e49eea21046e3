//! Tags: what the words on a page are, in the order in which they are read, for whoever has them read aloud.
//!
//! Shapes are decoration, but for those of a drawing that says what it shows: they are one figure with those words. Source:
//! PDF 32000-1, 14.7 and 14.8.

use pdf_writer::types::StructRole;
use pdf_writer::writers::{StructElement, StructTreeRoot};
use pdf_writer::{Finish, Pdf, Ref, TextStr};

/// One thing on a page that is read as a whole: a heading, a paragraph, a figure.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Tagged {
    kind: StructRole,
    /// What the words were marked as, so that lines of one paragraph come together.
    role: &'static str,
    /// The numbers of its pieces on the page.
    pieces: Vec<i32>,
    /// What a figure shows.
    about: Option<String>,
}

/// The tags of one page while it is drawn.
#[derive(Debug, Default)]
pub(super) struct Tags {
    things: Vec<Tagged>,
    next: i32,
}

impl Tags {
    /// The number of a new piece of words of some role, and what it is; `None` for what is not read, as page numbers.
    pub(super) fn words(&mut self, role: &'static str) -> Option<(StructRole, i32)> {
        let kind = match role {
            "foot" => return None,
            "title" => StructRole::H1,
            "heading" => StructRole::H2,
            "phrase" => StructRole::H3,
            _ => StructRole::P,
        };
        let piece = self.piece();
        match self.things.last_mut().filter(|last| last.role == role && joins(role)) {
            Some(last) => last.pieces.push(piece),
            None => self.things.push(Tagged { kind, role, pieces: vec![piece], about: None }),
        }
        Some((kind, piece))
    }

    /// The number of a piece of the page's one figure, which comes where its first piece does.
    pub(super) fn figure(&mut self, about: &str) -> i32 {
        let piece = self.piece();
        match self.things.iter_mut().find(|thing| thing.kind == StructRole::Figure) {
            Some(figure) => figure.pieces.push(piece),
            None => {
                let about = Some(about.to_owned());
                self.things.push(Tagged { kind: StructRole::Figure, role: "", pieces: vec![piece], about });
            }
        }
        piece
    }

    fn piece(&mut self) -> i32 {
        self.next += 1;
        self.next - 1
    }
}

/// Whether lines of this role that follow one another are one paragraph: a box says one thing, and so does a move.
fn joins(role: &str) -> bool {
    !matches!(role, "call" | "move" | "phrase" | "heading" | "turn" | "flag")
}

/// Puts the tags of all pages, whose places are given, into the file as one document.
pub(super) fn write(pdf: &mut Pdf, root: Ref, pages: &[(Ref, Tags)], next: &mut impl FnMut() -> Ref) {
    let document = next();
    let places: Vec<Vec<Ref>> =
        pages.iter().map(|(_, tags)| tags.things.iter().map(|_| next()).collect()).collect();
    let whole = i32::try_from(pages.len()).unwrap_or(i32::MAX);
    let lists: Vec<Ref> = pages.iter().map(|_| next()).collect();
    let mut tree = pdf.indirect(root).start::<StructTreeRoot<'_>>();
    tree.child(document).parent_tree_next_key(whole);
    let mut parents = tree.parent_tree();
    let mut numbers = parents.nums();
    (0..whole).zip(&lists).for_each(|(page, list)| {
        numbers.insert(page, *list);
    });
    numbers.finish();
    parents.finish();
    tree.finish();
    let mut top = pdf.indirect(document).start::<StructElement<'_>>();
    top.kind(StructRole::Document).parent(root);
    let mut kids = top.children();
    places.iter().flatten().for_each(|place| {
        kids.struct_element(*place);
    });
    kids.finish();
    top.finish();
    for (((page, tags), places), list) in pages.iter().zip(&places).zip(&lists) {
        // To which thing each piece of the page belongs, by the piece's number.
        let mut owners = vec![document; usize::try_from(tags.next).unwrap_or(0)];
        for (thing, place) in tags.things.iter().zip(places) {
            let mut element = pdf.indirect(*place).start::<StructElement<'_>>();
            element.kind(thing.kind).parent(document).page(*page);
            if let Some(about) = &thing.about {
                element.alt(TextStr(about));
            }
            let mut kids = element.children();
            for &piece in &thing.pieces {
                kids.marked_content_id(piece);
                if let Some(owner) = usize::try_from(piece).ok().and_then(|piece| owners.get_mut(piece)) {
                    *owner = *place;
                }
            }
            kids.finish();
            element.finish();
        }
        pdf.indirect(*list).array().typed::<Ref>().items(owners);
    }
}
