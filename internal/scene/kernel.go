package scene

import "math"

// A kernel reads a sampled signal between its samples with a Kaiser-windowed
// sinc, held as a table of fine phases with linear steps between them.
//
// The value at position x (in samples, x[0] at 0) is
//
//	y(x) = Σ x[k]·h(x-k),  h(d) = sinc(d)·w(d/half)
//
// over the 2·half samples around x (Kaiser & Schafer 1980). The table's linear
// steps err by less than (π/phases)²/8. TestClock measures what comes out of
// both kernels in a row: errors stay under -90 dB.
type kernel struct {
	half   int
	phases int
	rows   [][]float64 // rows[p][j] weighs sample floor(x)-half+1+j at fraction p/phases
}

// newKernel builds the table.
func newKernel(half, phases int, beta float64) *kernel {
	k := &kernel{half: half, phases: phases, rows: make([][]float64, phases+1)}
	for p := range k.rows {
		row := make([]float64, 2*half)
		frac := float64(p) / float64(phases)
		for j := range row {
			d := frac + float64(half-1-j)
			row[j] = sinc(d) * kaiser(d/float64(half), beta)
		}
		k.rows[p] = row
	}
	return k
}

// at returns the signal at position pos; samples outside x count as zero.
func (k *kernel) at(x []float32, pos float64) float64 {
	whole := math.Floor(pos)
	first := int(whole) - k.half + 1
	fine := (pos - whole) * float64(k.phases)
	p := min(int(fine), k.phases-1)
	step := fine - float64(p)
	low, high := k.rows[p], k.rows[p+1]
	from, to := max(0, -first), min(len(low), len(x)-first)
	if to <= from {
		return 0
	}
	var a, b float64
	low, high = low[from:to], high[from:to]
	for j, v := range x[first+from : first+to] {
		a += float64(v) * low[j]
		b += float64(v) * high[j]
	}
	return a + step*(b-a)
}

// sinc is sin(πx)/πx.
func sinc(x float64) float64 {
	if x == 0 {
		return 1
	}
	return math.Sin(math.Pi*x) / (math.Pi * x)
}

// kaiser is the Kaiser window, 1 at x = 0, zero beyond |x| = 1.
func kaiser(x, beta float64) float64 {
	if x <= -1 || x >= 1 {
		return 0
	}
	return bessel0(beta*math.Sqrt(1-x*x)) / bessel0(beta)
}

// bessel0 is the modified Bessel function of the first kind and order zero, by
// its power series (Abramowitz & Stegun 9.6.12).
func bessel0(x float64) float64 {
	sum, term := 1.0, 1.0
	for n := 1.0; term > 1e-17*sum; n++ {
		term *= x * x / (4 * n * n)
		sum += term
	}
	return sum
}

var (
	// sourceKernel reads excerpts and measured responses, whose content
	// reaches up to their half rate.
	sourceKernel = newKernel(20, 1024, 9)
	// clockKernel reads the grid, whose content stays under a quarter of its
	// rate, at a device's instants.
	clockKernel = newKernel(12, 4096, 11)
)
