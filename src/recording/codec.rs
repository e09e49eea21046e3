//! Names, for a teacher, of codecs that are met but not decoded.

use symphonia::core::codecs::audio::AudioCodecId;
use symphonia::core::codecs::audio::well_known as known;

/// The codec in words that follow 'it is'.
pub(super) fn name(codec: AudioCodecId) -> String {
    let name = match codec {
        known::CODEC_ID_OPUS => "Opus",
        known::CODEC_ID_SPEEX => "Speex",
        // Only the plain stereo kind is decoded.
        known::CODEC_ID_AAC => "AAC with surround sound or of the HE kind",
        known::CODEC_ID_AC3 | known::CODEC_ID_EAC3 | known::CODEC_ID_AC4 => "AC-3, a film sound format",
        known::CODEC_ID_DCA => "DTS, a film sound format",
        known::CODEC_ID_MP1 => "MPEG layer 1",
        known::CODEC_ID_MP2 => "MPEG layer 2",
        known::CODEC_ID_WMA => "Windows Media",
        known::CODEC_ID_WAVPACK => "WavPack",
        known::CODEC_ID_MUSEPACK => "Musepack",
        _ => "in an unusual sound format",
    };
    name.to_owned()
}

/// An MP4 sample entry's four letters as they may be shown.
pub(super) fn four_letters(entry: [u8; 4]) -> String {
    if entry.iter().all(u8::is_ascii_graphic) {
        format!("in the sound format '{}'", String::from_utf8_lossy(&entry))
    } else {
        "in an unusual sound format".to_owned()
    }
}
