// Stands for the map library's programs of layers that the page does not have:
// relief, heat, heights and sky.
export default ''
