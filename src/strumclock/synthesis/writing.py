"""A synthetic take as files: the sound in the format that its name asks for, the truth beside it as JSON."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from strumclock.errors import UsageError
from strumclock.synthesis.take import Take

SOUNDFILE_SUFFIXES = (".flac", ".wav")
CODECS = {".m4a": "aac", ".opus": "libopus"}
DEFAULT_BIT_RATE = 64_000  # a phone's voice recorder
_OPUS_RATE_HZ = 48000  # the only one that Opus has


def write_take(
    take: Take, path: str | Path, *, bit_rate: int = DEFAULT_BIT_RATE, extra: dict[str, Any] | None = None
) -> Path:
    """Write the sound to `path` and the truth to the same name ending in ``.json``.

    Parameters
    ----------
    take : Take
    path : str or Path
        Ends in .flac or .wav (16 bits), .m4a (AAC) or .opus.
    bit_rate : int
        Of AAC and Opus [bit/s].
    extra : dict, optional
        More for the JSON, such as a title.

    Returns
    -------
    Path
        Of the sound.

    Raises
    ------
    UsageError
        If the name ends in something else.
    """
    path = Path(path)
    suffix = path.suffix.lower()
    if suffix not in (*SOUNDFILE_SUFFIXES, *CODECS):
        raise UsageError(
            f"a take is written as {', '.join((*SOUNDFILE_SUFFIXES, *CODECS))}, but {path.name!r} came; name it so"
        )
    path.parent.mkdir(parents=True, exist_ok=True)
    if suffix in SOUNDFILE_SUFFIXES:
        import soundfile

        soundfile.write(path, take.samples, take.sample_rate_hz, subtype="PCM_16")
    else:
        _encode(path, take.samples, take.sample_rate_hz, CODECS[suffix], bit_rate)
    text = json.dumps({"sound": path.name, **(extra or {}), **take.truth.to_dict()}, indent=1, ensure_ascii=False)
    path.with_suffix(".json").write_text(text + "\n", encoding="utf-8")
    return path


def _encode(path: Path, samples: NDArray[np.float32], rate_hz: int, codec: str, bit_rate: int) -> None:
    """Compress through PyAV; the container keeps the codec's priming, so that a decoder can drop it."""
    import av

    channels = 1 if samples.ndim == 1 else samples.shape[1]
    layout = "mono" if channels == 1 else "stereo"
    out_rate_hz = _OPUS_RATE_HZ if codec == "libopus" else rate_hz
    planes = np.ascontiguousarray(samples.reshape(-1, channels).T)
    with av.open(str(path), "w") as container:
        stream: Any = container.add_stream(codec, rate=out_rate_hz)
        stream.layout = layout
        stream.bit_rate = bit_rate
        stream.codec_context.open()
        frame = av.AudioFrame.from_ndarray(planes, format="fltp", layout=layout)
        frame.sample_rate = rate_hz
        resampler = av.AudioResampler(format=stream.codec_context.format, layout=layout, rate=out_rate_hz)
        size = stream.codec_context.frame_size
        fifo = av.AudioFifo()
        for part in [*resampler.resample(frame), *resampler.resample(None)]:
            part.pts = None
            fifo.write(part)
        done = 0
        while (block := fifo.read(size)) or (block := fifo.read(0, partial=True)):
            block.pts = done
            done += block.samples
            container.mux(stream.encode(block))
        container.mux(stream.encode(None))
