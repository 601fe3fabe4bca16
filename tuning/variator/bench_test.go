package variator

import "testing"

func BenchmarkFitContact(b *testing.B) {
	readings, _ := recipeReadings(7, slipping)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Fit(readings, FitOptions{Law: Contact}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkFitAutomatic(b *testing.B) {
	readings, _ := recipeReadings(7, slipping)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Fit(readings, FitOptions{}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkTable33(b *testing.B) {
	readings, _ := recipeReadings(7, gaussian)
	m, err := Fit(readings, FitOptions{})
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := m.Table(33); err != nil {
			b.Fatal(err)
		}
	}
}
