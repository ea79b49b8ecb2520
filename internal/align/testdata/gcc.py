# Generalised cross-correlation of two 16 kHz recordings with SciPy, as in
# Knapp & Carter 1976: the phase transform with exponent 0.8, 200-7000 Hz.
# Prints how much later the second file hears it, in milliseconds.
import sys
import numpy as np
from scipy.io import wavfile
from scipy.fft import rfft, irfft, next_fast_len

def read(path):
    rate, x = wavfile.read(path)
    return rate, x.astype(float)

rate, x = read(sys.argv[1])
_, y = read(sys.argv[2])
n = next_fast_len(len(x) + len(y))
over = 16
X, Y = rfft(x, n), rfft(y, n)
f = np.arange(len(X)) * rate / n
g = np.conj(X) * Y
g = g / np.maximum(np.abs(g), 1e-12) ** 0.8
g[(f < 200) | (f > 7000)] = 0
r = irfft(g, n * over)
reach = int(0.05 * rate * over)
lags = np.concatenate([np.arange(0, reach), np.arange(-reach, 0)])
v = np.concatenate([r[:reach], r[-reach:]])
print(1000 * lags[np.argmax(np.abs(v))] / (rate * over))
