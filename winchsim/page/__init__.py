"""The interactive page: a build is changed in the browser and lifted again after each change."""
