//! Humid air: vapour pressure, dew point, humidity at a surface.
