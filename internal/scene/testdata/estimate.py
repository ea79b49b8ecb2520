"""Estimates s = offset + (1+drift)*t between two recordings with SciPy alone.

usage: estimate.py CLIP SOUND RATE   (raw little-endian float32, mono)
Prints offset in seconds and drift in seconds per second.

The whole clip is correlated with the whole sound for a first guess; then each
4 s window of the clip with the sound around that guess, whitened (GCC-PHAT,
Knapp & Carter 1976) between 200 and 6000 Hz and interpolated 8 times by
zero-padding; a line through the windows' delays, weighed against outliers by
Theil-Sen, gives the answer.
"""

import sys

import numpy as np
from scipy import signal, stats

clip = np.fromfile(sys.argv[1], "<f4").astype(float)
sound = np.fromfile(sys.argv[2], "<f4").astype(float)
rate = int(sys.argv[3])

band = signal.butter(4, [200, 3000], "bandpass", fs=rate, output="sos")
whole = signal.correlate(signal.sosfilt(band, sound), signal.sosfilt(band, clip), "full", "fft")
guess = int(np.argmax(np.abs(whole))) - (len(clip) - 1)

window, reach, fine = 4 * rate, rate // 10, 8
times, places = [], []
for t0 in range(0, len(clip) - window + 1, window):
    s0 = t0 + guess - reach
    if s0 < 0 or s0 + window + 2 * reach > len(sound):
        continue
    size = 1 << (window + 2 * reach).bit_length()
    a = np.fft.rfft(clip[t0 : t0 + window] * signal.windows.hann(window), size)
    b = np.fft.rfft(sound[s0 : s0 + window + 2 * reach], size)
    cross = b * np.conj(a)
    cross /= np.abs(cross) + 1e-9 * np.max(np.abs(cross))
    f = np.fft.rfftfreq(size, 1 / rate)
    cross[(f < 200) | (f > 6000)] = 0
    peaks = np.fft.irfft(np.concatenate([cross, np.zeros((fine - 1) * size // 2)]), fine * size)
    delay = int(np.argmax(peaks[: 2 * reach * fine])) / fine
    middle = (t0 + window / 2) / rate
    times.append(middle)
    places.append((s0 + delay - t0) / rate + middle)
if len(times) == 1:
    print(places[0] - times[0], 0)
else:
    slope, _, _, _ = stats.theilslopes(np.array(places) - np.array(times), np.array(times))
    print(np.median(np.array(places) - (1 + slope) * np.array(times)), slope)
