package dsp

import "math"

// SpeedOfSound returns the speed of sound in air in m/s at a temperature in
// °C,
//
//	343.2·sqrt((celsius + 273.15)/293.15),
//
// the form of ISO 9613-1. Humidity, left out here, raises it by 0.1 to 0.6 %.
// At absolute zero and below it is 0.
func SpeedOfSound(celsius float64) float64 {
	return 343.2 * math.Sqrt(math.Max(0, celsius+273.15)/293.15)
}

// Flight returns how many seconds sound takes over metres of air at celsius
// °C; a microphone that far away hears everything this much late. It is
// negative for negative metres and infinite where there is no air to speak of.
func Flight(metres, celsius float64) float64 {
	return metres / SpeedOfSound(celsius)
}
