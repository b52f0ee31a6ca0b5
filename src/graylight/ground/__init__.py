"""The ground: relief, landforms, cover and water."""
