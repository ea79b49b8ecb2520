package cli

import "testing"

// A chance in words is never smaller than the number.
func TestChanceInWords(t *testing.T) {
	for p, want := range map[float64]string{
		1e-6: "less than 1 in 1,000,000", 3e-6: "less than 1 in 100,000", 1e-4: "less than 1 in 10,000",
		0.0005: "less than 1 in 1000", 0.004: "less than 1 in 100", 0.012: "about 2 in 100", 0.25: "about 3 in 10", 0.99: "almost certain",
	} {
		if got := chanceWords(p); got != want {
			t.Errorf("%g: %q, want %q", p, got, want)
		}
	}
}
