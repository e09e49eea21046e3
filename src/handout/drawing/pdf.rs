//! Drawings as PDF 1.7, one a page: the letters used are embedded, and every one knows which character it stands for, so
//! that words can be searched and copied; they are tagged, so that they can be read aloud in order. No date and no random identifier: the same drawings give the same bytes.

use super::path::Leg;
use super::tags::{self, Tags};
use super::{Anchor, Drawing, Ink, Mark, Path, Weight, width};
use miniz_oxide::deflate::compress_to_vec_zlib;
use pdf_writer::types::{
    CidFontType, FontFlags, LineCapStyle, LineJoinStyle, StructRole, SystemInfo, TabOrder, UnicodeCmap,
};
use pdf_writer::{Content, Filter, Finish, Name, Pdf, Rect, Ref, Str, TextStr};
use std::collections::BTreeMap;
use subsetter::GlyphRemapper;

/// How hard streams are pressed; 9 is the most that zlib knows.
const LEVEL: u8 = 9;

/// What the numbers of a PDF's glyphs mean where we say so ourselves.
const SYSTEM: SystemInfo<'static> =
    SystemInfo { registry: Str(b"Adobe"), ordering: Str(b"Identity"), supplement: 0 };

/// The file. `title` is shown in a reader's window.
pub(in crate::handout) fn pdf(title: &str, pages: &[Drawing]) -> Vec<u8> {
    let mut pdf = Pdf::new();
    let mut last = 0;
    let mut next = || {
        last += 1;
        Ref::new(last)
    };
    let (catalog, tree, info, structure) = (next(), next(), next(), next());
    let mut fonts = [Used::new(Weight::Regular, next()), Used::new(Weight::Bold, next())];
    let places: Vec<(Ref, Ref)> = pages.iter().map(|_| (next(), next())).collect();
    let mut root = pdf.catalog(catalog);
    root.pages(tree).lang(TextStr("en"));
    root.viewer_preferences().display_doc_title(true);
    root.mark_info().marked(true);
    root.pair(Name(b"StructTreeRoot"), structure);
    root.finish();
    pdf.document_info(info).title(TextStr(title)).creator(TextStr("Farandole"));
    pdf.pages(tree)
        .kids(places.iter().map(|place| place.0))
        .count(i32::try_from(pages.len()).unwrap_or(i32::MAX));
    let mut tagged = Vec::with_capacity(pages.len());
    for ((drawing, (page, content)), number) in pages.iter().zip(&places).zip(0..) {
        let (drawn, tags) = draw(drawing, &mut fonts);
        let drawn = compress_to_vec_zlib(&drawn, LEVEL);
        tagged.push((*page, tags));
        let mut sheet = pdf.page(*page);
        sheet.parent(tree).contents(*content).struct_parents(number).tab_order(TabOrder::StructureOrder);
        sheet.media_box(Rect::new(0.0, 0.0, drawing.width as f32, drawing.height as f32));
        let mut resources = sheet.resources();
        let mut named = resources.fonts();
        for font in &fonts {
            named.pair(Name(font.name()), font.place);
        }
        named.finish();
        resources.finish();
        sheet.finish();
        pdf.stream(*content, &drawn).filter(Filter::FlateDecode);
    }
    tags::write(&mut pdf, structure, &tagged, &mut next);
    for font in fonts {
        font.embed(&mut pdf, &mut next);
    }
    pdf.finish()
}

/// The letters of one font that were used.
struct Used {
    weight: Weight,
    place: Ref,
    glyphs: GlyphRemapper,
    /// Which character each of the embedded glyphs stands for.
    letters: BTreeMap<u16, char>,
}

impl Used {
    fn new(weight: Weight, place: Ref) -> Self {
        Self { weight, place, glyphs: GlyphRemapper::new(), letters: BTreeMap::new() }
    }

    fn name(&self) -> &'static [u8] {
        match self.weight {
            Weight::Regular => b"F0",
            Weight::Bold => b"F1",
        }
    }

    /// The numbers of embedded glyphs for a line of words, two bytes each.
    fn encode(&mut self, text: &str) -> Vec<u8> {
        let mut bytes = Vec::with_capacity(2 * text.len());
        for letter in text.chars() {
            let Some(glyph) = self.weight.face().and_then(|face| face.glyph_index(letter)) else { continue };
            let embedded = self.glyphs.remap(glyph.0);
            self.letters.entry(embedded).or_insert(letter);
            bytes.extend(embedded.to_be_bytes());
        }
        bytes
    }

    /// Puts the used letters into the file. A font without any still gets its few tables, so that no name is left hanging.
    fn embed(self, pdf: &mut Pdf, next: &mut impl FnMut() -> Ref) {
        let Some(face) = self.weight.face() else { return };
        let scale = 1000.0 / f32::from(face.units_per_em());
        let scaled = |units: i16| f32::from(units) * scale;
        let (cid, descriptor, cmap, file) = (next(), next(), next(), next());
        // PDF 32000-1, 9.6.4: six letters before the name tell a subset from the whole; any will do.
        let base = match self.weight {
            Weight::Regular => Name(b"FARAND+DejaVuSansCondensed"),
            Weight::Bold => Name(b"FARANB+DejaVuSansCondensed-Bold"),
        };
        pdf.type0_font(self.place)
            .base_font(base)
            .encoding_predefined(Name(b"Identity-H"))
            .descendant_font(cid)
            .to_unicode(cmap);
        let advances = self
            .glyphs
            .remapped_gids()
            .map(|glyph| f32::from(face.glyph_hor_advance(ttf_parser::GlyphId(glyph)).unwrap_or(0)) * scale);
        let mut font = pdf.cid_font(cid);
        font.subtype(CidFontType::Type2).base_font(base).system_info(SYSTEM).font_descriptor(descriptor);
        font.default_width(0.0).cid_to_gid_map_predefined(Name(b"Identity"));
        font.widths().consecutive(0, advances);
        font.finish();
        let bounds = face.global_bounding_box();
        pdf.font_descriptor(descriptor)
            .name(base)
            .flags(FontFlags::SYMBOLIC)
            .bbox(Rect::new(
                scaled(bounds.x_min),
                scaled(bounds.y_min),
                scaled(bounds.x_max),
                scaled(bounds.y_max),
            ))
            .italic_angle(0.0)
            .ascent(scaled(face.ascender()))
            .descent(scaled(face.descender()))
            .cap_height(scaled(face.capital_height().unwrap_or_else(|| face.ascender())))
            // Not in the file; a usual value, which readers use only when they must replace the font.
            .stem_v(if self.weight == Weight::Bold { 140.0 } else { 80.0 })
            .font_file2(file);
        let mut names = UnicodeCmap::new(Name(b"Farandole"), SYSTEM);
        self.letters.iter().for_each(|(&glyph, &letter)| names.pair(glyph, letter));
        let names = compress_to_vec_zlib(&names.finish(), LEVEL);
        pdf.cmap(cmap, &names).filter(Filter::FlateDecode);
        // The font is ours and was tested; if it could not be cut down, it is embedded whole.
        let letters = subsetter::subset(self.weight.file(), 0, &self.glyphs);
        let letters = letters.unwrap_or_else(|_| self.weight.file().to_vec());
        let pressed = compress_to_vec_zlib(&letters, LEVEL);
        let mut stream = pdf.stream(file, &pressed);
        stream.filter(Filter::FlateDecode);
        stream.pair(Name(b"Length1"), i32::try_from(letters.len()).unwrap_or(i32::MAX));
    }
}

/// The drawing operators of a page, and what they draw.
fn draw(drawing: &Drawing, fonts: &mut [Used; 2]) -> (Vec<u8>, Tags) {
    let (mut content, mut tags) = (Content::new(), Tags::default());
    // From here on y runs downwards from the upper edge, as in the drawing.
    content.transform([1.0, 0.0, 0.0, -1.0, 0.0, drawing.height as f32]);
    content.set_line_join(LineJoinStyle::RoundJoin).set_line_cap(LineCapStyle::ButtCap);
    for mark in &drawing.marks {
        let piece = match mark {
            Mark::Shape { .. } if drawing.about.is_empty() => None,
            Mark::Shape { .. } => Some((StructRole::Figure, tags.figure(&drawing.about))),
            Mark::Words { role, .. } => tags.words(role),
        };
        match piece {
            Some((kind, number)) => {
                let mut begun = content.begin_marked_content_with_properties(kind.to_name());
                begun.properties().identify(number);
            }
            None => drop(content.begin_marked_content(Name(b"Artifact"))),
        }
        match mark {
            Mark::Shape { path, fill, pen, .. } => {
                if let Some(ink) = fill {
                    let [r, g, b] = parts(*ink);
                    content.set_fill_rgb(r, g, b);
                }
                if let Some(pen) = pen {
                    let [r, g, b] = parts(pen.ink);
                    content.set_stroke_rgb(r, g, b).set_line_width(pen.width as f32);
                    let dash = pen.dash.map(|(dash, gap)| [dash as f32, gap as f32]);
                    content.set_dash_pattern(dash.iter().flatten().copied(), 0.0);
                }
                outline(&mut content, path);
                match (fill, pen) {
                    (Some(_), Some(_)) => content.fill_nonzero_and_stroke(),
                    (Some(_), None) => content.fill_nonzero(),
                    (None, Some(_)) => content.stroke(),
                    (None, None) => content.end_path(),
                };
            }
            Mark::Words { at, setting, text, .. } => {
                let font = match setting.weight {
                    Weight::Regular => &mut fonts[0],
                    Weight::Bold => &mut fonts[1],
                };
                let long = width(text, setting.size, setting.weight);
                let x = match setting.anchor {
                    Anchor::Start => at.0,
                    Anchor::Middle => at.0 - 0.5 * long,
                    Anchor::End => at.0 - long,
                };
                let [r, g, b] = parts(setting.ink);
                content.set_fill_rgb(r, g, b).begin_text();
                content.set_font(Name(font.name()), setting.size as f32);
                content.set_text_matrix([1.0, 0.0, 0.0, -1.0, x as f32, at.1 as f32]);
                content.show(Str(&font.encode(text))).end_text();
            }
        }
        content.end_marked_content();
    }
    (content.finish().to_vec(), tags)
}

fn outline(content: &mut Content, path: &Path) {
    for leg in &path.0 {
        match *leg {
            Leg::Move(x, y) => content.move_to(x as f32, y as f32),
            Leg::Line(x, y) => content.line_to(x as f32, y as f32),
            Leg::Curve(a, b, c, d, x, y) => {
                content.cubic_to(a as f32, b as f32, c as f32, d as f32, x as f32, y as f32)
            }
            Leg::Close => content.close_path(),
        };
    }
}

/// Red, green and blue, 0 to 1.
fn parts(ink: Ink) -> [f32; 3] {
    [ink.0, ink.1, ink.2].map(|part| f32::from(part) / 255.0)
}
