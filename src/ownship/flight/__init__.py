"""One flight judged: request, route, timeline, fuel, tanks, runways, margins, assessment."""
