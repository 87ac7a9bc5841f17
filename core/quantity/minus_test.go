package quantity

import "testing"

func TestMinus(t *testing.T) {
	for in, want := range map[string]string{
		"at five minutes -0.5 ppb is left": "at five minutes −0.5 ppb is left",
		"-1.2 to -0.3 (-.5; x -4)":         "−1.2 to −0.3 (−.5; x −4)",
		"of 2026-11-19, VR-26-143, 3-4":    "of 2026-11-19, VR-26-143, 3-4",
		"a re-test, --limit 5, - 5, °C-1":  "a re-test, --limit 5, - 5, °C-1",
		"±0.3 and +0.2":                    "±0.3 and +0.2",
		"":                                 "",
	} {
		if got := Minus(in); got != want {
			t.Errorf("Minus(%q) = %q, want %q", in, got, want)
		}
	}
}

func TestParted(t *testing.T) {
	for in, want := range map[string]string{"8560": "8,560", "-1234567.25": "-1,234,567.25", "999": "999", "0.12345": "0.12345", "": "", "−41000": "−41,000"} {
		if got := Parted(in); got != want {
			t.Errorf("Parted(%q) = %q, want %q", in, got, want)
		}
	}
}
