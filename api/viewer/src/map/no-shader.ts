// Stands for the map library's programs of layers that the page does not have:
// relief, heat and heights, and of the globe's air. They are taken apart when the library is loaded,
// and so have one input each.
export default 'in vec2 a_pos; uniform vec2 u_none; void main() {}'
