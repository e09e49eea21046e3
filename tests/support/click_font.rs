//! The smallest useful sound font: one preset, one sample, which is a click on its first frame. Every instrument
//! played with it says exactly when it was struck. Layout: SoundFont 2.04 specification, chapters 4 to 7.

/// The bytes of the font, its sample at `rate` frames a second.
pub fn click_font(rate: u32) -> Vec<u8> {
    // 100 frames of sound and the 46 zeros that the specification asks for after a sample.
    let mut sample = [0i16; 146];
    for (frame, value) in sample.iter_mut().take(100).enumerate() {
        *value = 30_000 - 300 * frame as i16;
    }
    let sample: Vec<u8> = sample.iter().flat_map(|s| s.to_le_bytes()).collect();

    let info = list(
        b"INFO",
        &[chunk(b"ifil", &[2, 0, 1, 0]), chunk(b"isng", b"EMU8000\0"), chunk(b"INAM", b"Click\0")],
    );
    let data = list(b"sdta", &[chunk(b"smpl", &sample)]);
    let bag = words(&[0, 0, 1, 0]);
    // Generators 41 and 53 name the instrument and the sample; a closing record of zeros ends each list.
    let presets = list(
        b"pdta",
        &[
            chunk(b"phdr", &[preset("Click", 0), preset("EOP", 1)].concat()),
            chunk(b"pbag", &bag),
            chunk(b"pmod", &[0; 10]),
            chunk(b"pgen", &words(&[41, 0, 0, 0])),
            chunk(b"inst", &[name("Click"), words(&[0]), name("EOI"), words(&[1])].concat()),
            chunk(b"ibag", &bag),
            chunk(b"imod", &[0; 10]),
            chunk(b"igen", &words(&[53, 0, 0, 0])),
            chunk(b"shdr", &[header("Click", 100, rate), header("EOS", 0, 0)].concat()),
        ],
    );
    chunk(b"RIFF", &[b"sfbk".to_vec(), info, data, presets].concat())
}

fn chunk(id: &[u8; 4], body: &[u8]) -> Vec<u8> {
    [id.as_slice(), &(body.len() as u32).to_le_bytes(), body].concat()
}

fn list(id: &[u8; 4], chunks: &[Vec<u8>]) -> Vec<u8> {
    chunk(b"LIST", &[id.to_vec(), chunks.concat()].concat())
}

fn words(values: &[u16]) -> Vec<u8> {
    values.iter().flat_map(|v| v.to_le_bytes()).collect()
}

fn name(text: &str) -> Vec<u8> {
    let mut bytes = text.as_bytes().to_vec();
    bytes.resize(20, 0);
    bytes
}

/// A preset header: program 0 of bank 0, its bag, and three reserved numbers.
fn preset(text: &str, bag: u16) -> Vec<u8> {
    [name(text), words(&[0, 0, bag]), vec![0; 12]].concat()
}

/// A sample header: start, end, loop start, loop end, rate, key 60, no correction, no link, mono.
fn header(text: &str, end: u32, rate: u32) -> Vec<u8> {
    let places = [0, end, 0, end, rate].iter().flat_map(|v: &u32| v.to_le_bytes()).collect();
    [name(text), places, vec![60, 0], words(&[0, 1])].concat()
}
